package pipework_test

import (
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/checktable"
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
	tt, _ := t.(*testing.T)
	var rows []row
	for _, values := range checktable.Read(t, filepath.Join(testdata, name)) {
		rows = append(rows, row{tt, values})
	}
	return rows
}
