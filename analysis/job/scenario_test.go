package job_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/scenario"
	"coldweek/ingest/site"
)

// TestScenarios runs every script in testdata/scenarios.
func TestScenarios(t *testing.T) {
	files, err := filepath.Glob("../../testdata/scenarios/*.scenario")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".scenario"), func(t *testing.T) { runScenario(t, file) })
	}
}

func runScenario(t *testing.T, file string) {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	s, err := scenario.Parse(string(text))
	require.NoError(t, err, file)
	yaml := fmt.Sprintf("id: scenario\ntime_zone: %s\n%s", s.From.Location(), s.Record)
	record, err := site.Parse(file, []byte(yaml))
	require.NoError(t, err)
	result, err := job.AnalyseColumns(record, s.Columns, job.WindowAround(s.From, s.To()))
	require.NoError(t, err)
	encoded, err := json.Marshal(result)
	require.NoError(t, err)
	var answer any
	require.NoError(t, json.Unmarshal(encoded, &answer))
	for _, e := range s.Expect {
		got, err := lookUp(answer, e.Key)
		if !assert.NoError(t, err, "%s:%d", file, e.Line) {
			continue
		}
		if number, ok := got.(float64); ok && e.Number {
			assert.InDelta(t, e.Value, number, e.Within+1e-9, "%s:%d: %s", file, e.Line, e.Key)
			continue
		}
		assert.Equal(t, e.Text, wordOf(got), "%s:%d: %s", file, e.Line, e.Key)
	}
}

func wordOf(v any) string {
	if v == nil {
		return "null"
	}
	return fmt.Sprint(v)
}

// lookUp follows a dotted path; a number is a place in a list.
func lookUp(value any, path string) (any, error) {
	for _, step := range strings.Split(path, ".") {
		switch v := value.(type) {
		case map[string]any:
			next, ok := v[step]
			if !ok {
				return nil, fmt.Errorf("the answer has no %q", path)
			}
			value = next
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(v) {
				return nil, fmt.Errorf("%q: %q is no place in a list of %d", path, step, len(v))
			}
			value = v[i]
		default:
			return nil, fmt.Errorf("%q: nothing below %q", path, step)
		}
	}
	return value, nil
}
