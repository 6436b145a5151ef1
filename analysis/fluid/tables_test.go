package fluid

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// row is a line of a check table by column name.
type row struct {
	t      *testing.T
	values map[string]string
}

func (r row) num(column string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.values[column], 64)
	require.NoError(r.t, err, column)
	return v
}

func (r row) text(column string) string {
	r.t.Helper()
	require.Contains(r.t, r.values, column)
	return r.values[column]
}

// readTable reads testdata/fluid; the first line of each file names its source.
func readTable(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "fluid", name))
	require.NoError(t, err)
	defer f.Close()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	records, err := reader.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(records), 2)
	rows := make([]row, 0, len(records)-1)
	for _, record := range records[1:] {
		values := map[string]string{}
		for i, column := range records[0] {
			values[column] = record[i]
		}
		rows = append(rows, row{t, values})
	}
	return rows
}

// half is half of the last printed digit, with room for rounding at the edge.
func half(digit float64) float64 { return 0.501 * digit }
