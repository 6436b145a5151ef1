package fluid

import (
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/checktable"
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
	var rows []row
	for _, values := range checktable.Read(t, filepath.Join("..", "..", "testdata", "fluid", name)) {
		rows = append(rows, row{t, values})
	}
	require.Greater(t, len(rows), 1)
	return rows
}

// half is half of the last printed digit, with room for rounding at the edge.
func half(digit float64) float64 { return 0.501 * digit }
