package pipework_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

const testdata = "../../testdata"

// row is a line of a check table by column name.
type row struct {
	t      *testing.T
	values map[string]string
}

func (r row) num(column string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.text(column), 64)
	require.NoError(r.t, err, column)
	return v
}

func (r row) text(column string) string {
	r.t.Helper()
	require.Contains(r.t, r.values, column)
	return r.values[column]
}

// readTable reads a file of testdata; its first line names its source.
func readTable(t testing.TB, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, name))
	require.NoError(t, err)
	defer f.Close()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	records, err := reader.ReadAll()
	require.NoError(t, err)
	rows := make([]row, 0, len(records)-1)
	for _, record := range records[1:] {
		values := map[string]string{}
		for i, column := range records[0] {
			values[column] = record[i]
		}
		tt, _ := t.(*testing.T)
		rows = append(rows, row{tt, values})
	}
	return rows
}
