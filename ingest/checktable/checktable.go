// Package checktable reads the tables in testdata that tests are held against: a
// line that names the source, a header, rows.
package checktable

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// Read returns the rows of a table by column name; there is at least one.
func Read(t testing.TB, path string) []map[string]string {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	require.NoError(t, err)
	require.NotEmpty(t, lines)
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, name := range lines[0] {
			row[name] = line[i]
		}
		rows = append(rows, row)
	}
	require.NotEmpty(t, rows)
	return rows
}

// Number reads a cell.
func Number(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err, text)
	return v
}
