package influxtest_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/influx/influxtest"
)

func TestTheServerKeepsItsData(t *testing.T) {
	s := influxtest.Start(t)
	s.CreateDatabase("plants")
	s.Write("plants", "reading,site=moorhof power=1.5 1000", "reading,site=moorhof power=2 2000")
	for _, end := range []func(){s.Stop, s.Kill} {
		end()
		s.Resume()
		series := s.Query("plants", "SELECT power FROM reading")
		require.Len(t, series, 1)
		require.Equal(t, [][]any{{json.Number("1000"), json.Number("1.5")}, {json.Number("2000"), json.Number("2")}}, series[0].Values)
	}
	s.Freeze()
	s.Thaw()
	require.Len(t, s.Query("", "SHOW DATABASES"), 1)
}

func TestSettingsGoOverTheConfiguration(t *testing.T) {
	s := influxtest.Start(t, "INFLUXDB_LOGGING_LEVEL=info", influxtest.Flux)
	require.Contains(t, s.Log(), "InfluxDB starting")
	answer, err := http.Post(s.URL()+"/api/v2/query", "application/vnd.flux", strings.NewReader("buckets()"))
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	require.Equal(t, http.StatusOK, answer.StatusCode)
}
