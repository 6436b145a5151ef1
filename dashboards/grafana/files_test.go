package grafana_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"maps"
	"os"
	"slices"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/grafana"
)

var update = flag.Bool("update", false, "write the dashboards' files anew")

// TestFilesAreWhatTheCodeMakes keeps the files that Grafana reads with the code.
func TestFilesAreWhatTheCodeMakes(t *testing.T) {
	all, err := grafana.All()
	require.NoError(t, err)
	for name, made := range all {
		text := encode(t, made)
		if *update {
			require.NoError(t, os.WriteFile(name, text, 0o644))
		}
		file, err := os.ReadFile(name)
		require.NoError(t, err)
		assert.Equal(t, string(text), string(file), "%s is out of date: go test ./dashboards/grafana -update", name)
	}
	files, err := os.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		if bytes.HasSuffix([]byte(f.Name()), []byte(".json")) {
			assert.Contains(t, slices.Collect(maps.Keys(all)), f.Name(), "Grafana would read this file too")
		}
	}
}

func encode(t *testing.T, d grafana.Dashboard) []byte {
	t.Helper()
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	require.NoError(t, encoder.Encode(d))
	return b.Bytes()
}

// TestGrafanasOwnTypesReadTheFiles reads strictly: an unknown field, a wrong type
// or a missing one is an error.
func TestGrafanasOwnTypesReadTheFiles(t *testing.T) {
	plugins.RegisterDefaultPlugins()
	for name, text := range files(t) {
		var d grafana.Dashboard
		// Of a panel without a fault it gives an error of no faults.
		err := d.UnmarshalJSONStrict(text)
		if faults := (cog.BuildErrors)(nil); errors.As(err, &faults) {
			assert.Empty(t, faults, name)
		} else {
			assert.NoError(t, err, name)
		}
		require.NoError(t, json.Unmarshal(text, &d), name)
		assert.NoError(t, d.Validate(), name)
	}
}
