package site_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	_ "time/tzdata" // zones must not depend on the machine

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/site"
)

const testdata = "../../testdata/site"

var update = flag.Bool("update", false, "write the .want files; read every changed line before keeping it")

// Each record of testdata/site is paired with what coldweek says to it: every
// problem of a bad one, the remarks on a good one.
func TestRecordsAndWhatIsSaidToThem(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(testdata, "*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		base := filepath.Base(file)
		t.Run(base, func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			record, err := site.Parse(base, data)
			said := ""
			if strings.HasSuffix(base, ".bad.yaml") {
				require.Error(t, err)
				assert.Nil(t, record)
				said = err.Error() + "\n"
			} else {
				require.NoError(t, err)
				for _, p := range site.Check(record) {
					assert.True(t, p.Warning)
					said += p.String() + "\n"
				}
			}
			compare(t, strings.TrimSuffix(file, ".yaml")+".want", said)
		})
	}
}

func compare(t *testing.T, wantFile, said string) {
	t.Helper()
	if *update {
		require.NoError(t, os.WriteFile(wantFile, []byte(said), 0o644))
	}
	want, err := os.ReadFile(wantFile)
	require.NoError(t, err)
	assert.Equal(t, string(want), said)
}
