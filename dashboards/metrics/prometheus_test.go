package metrics_test

import (
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/metrics/prometheustest"
)

// TestPrometheusSeesWhatWasPublished asks a real Prometheus that scrapes us.
func TestPrometheusSeesWhatWasPublished(t *testing.T) {
	s := begin(t, "mill-cottage", "orchard-house")
	page := httptest.NewServer(handler(t, s.options("mill-cottage", "orchard-house")))
	defer page.Close()
	server := prometheustest.Start(t, map[string]string{"coldweek": strings.TrimPrefix(page.URL, "http://")})
	value := func(expr string) (float64, bool) {
		samples, err := server.Query(expr)
		require.NoError(t, err)
		if len(samples) != 1 {
			return 0, false
		}
		return float64(samples[0].Value), true
	}
	seen := func(expr string, want float64) func() bool {
		return func() bool { got, ok := value(expr); return ok && got == want }
	}
	require.Eventually(t, seen("coldweek_ingest_messages_total", 0), time.Minute, 100*time.Millisecond, server.Log())
	s.publishSome()
	require.Eventually(t, seen("coldweek_ingest_messages_total", wanted["coldweek_ingest_messages_total"]), time.Minute, 100*time.Millisecond)
	for expr, want := range wanted {
		got, ok := value(expr)
		assert.True(t, ok, "%s gives one sample", expr)
		assert.InDelta(t, want, got, 0, expr)
	}
	// What is zero from the start has a rate at its first step.
	got, ok := value(`increase(coldweek_ingest_refused_total{reason="unknown_site"}[1m]) > bool 0`)
	assert.True(t, ok)
	assert.InDelta(t, 1, got, 0)
	samples, err := server.Query(`up`)
	require.NoError(t, err)
	require.Len(t, samples, 1)
	assert.EqualValues(t, "coldweek", samples[0].Metric["job"])

	_, err = server.Query("sum(")
	require.ErrorContains(t, err, `query "sum("`)
	_, err = server.Query("1")
	require.ErrorContains(t, err, "gives a scalar")
}
