package metrics_test

import (
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/dashboards/metrics"
	"coldweek/dashboards/metrics/prometheustest"
	"coldweek/ingest"
	"coldweek/ingest/receive"
	"coldweek/ingest/rig"
	"coldweek/ingest/store/local"
)

const rulesFile = "../../deploy/prometheus/rules/coldweek.yml"

// alertQueries returns the expression of every alert.
func alertQueries(t *testing.T) map[string]string {
	t.Helper()
	text, err := os.ReadFile(rulesFile)
	require.NoError(t, err)
	var file struct {
		Groups []struct {
			Rules []struct{ Alert, Expr string }
		}
	}
	require.NoError(t, yaml.Unmarshal(text, &file))
	queries := map[string]string{}
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			queries[r.Alert] = r.Expr
		}
	}
	require.Greater(t, len(queries), 10)
	return queries
}

// swapped plays three days of a plant whose sensors were exchanged half way, and
// looks at it as the lookout does. The finding asks for attention.
func swapped(t *testing.T, st *local.Store) (string, job.Watched, time.Time) {
	t.Helper()
	p := rig.Random(3)
	p.Metering.Interval = 30 * time.Second
	p.Troubles = []rig.Trouble{{Kind: rig.SwappedSensors, After: 36 * time.Hour}}
	from := time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)
	r, err := rig.New(p, from)
	require.NoError(t, err)
	record, until := p.Record(), from.AddDate(0, 0, 3)
	for _, c := range r.Columns(until) {
		batch := make([]ingest.Reading, c.Len())
		for i, ms := range c.UnixMS {
			batch[i] = ingest.Reading{Site: record.ID, Channel: c.Channel, Time: time.UnixMilli(ms), Value: c.Value[i]}
		}
		_, err := st.Append(t.Context(), batch)
		require.NoError(t, err)
	}
	watched, err := job.Watch(t.Context(), st, record, until, &job.Memory{})
	require.NoError(t, err)
	return record.ID, watched, until
}

// TestAlertsOnAPlantInTrouble: a real Prometheus takes the rules, scrapes a plant
// in trouble, and every alert's query can be answered; those that ought to have
// something to say do. How long each waits is tested beside the rules.
func TestAlertsOnAPlantInTrouble(t *testing.T) {
	s := begin(t)
	id, watched, at := swapped(t, s.store)
	require.NotEmpty(t, watched.Open)
	kinds := map[string]bool{}
	for i := range watched.Open {
		kinds[watched.Open[i].Name()] = watched.Open[i].Severity == watch.Attention
	}
	require.True(t, kinds["pipes_swapped"])

	o := s.options(id)
	o.Plants, o.Tasks = metrics.NewPlants(time.Now), metrics.NewTasks(time.Now)
	o.Disk = func() (metrics.Disk, error) { return metrics.Disk{FreeBytes: 1, SizeBytes: 100}, nil }
	o.Intake = func() receive.Stats { return receive.Stats{} }
	o.Plants.Put(id, at, watched, nil)
	page := httptest.NewServer(handler(t, o))
	defer page.Close()
	server := prometheustest.Start(t, map[string]string{"coldweek": strings.TrimPrefix(page.URL, "http://")}, rulesFile)
	require.Eventually(t, func() bool {
		samples, err := server.Query(`coldweek_site_findings{severity="attention", state="open"} > 0`)
		return err == nil && len(samples) == 1
	}, time.Minute, 100*time.Millisecond)

	speaking := map[string]bool{"AttentionFinding": true, "SiteSilent": true, "SiteNotLookedAt": true, "DiskNearlyFull": true}
	for alert, query := range alertQueries(t) {
		samples, err := server.Query(query)
		if assert.NoError(t, err, alert) && speaking[alert] {
			assert.NotEmpty(t, samples, alert)
		}
		if alert == "ColdweekDown" || alert == "ReadingsNotKept" || alert == "NotificationsFailing" {
			assert.Empty(t, samples, alert)
		}
	}
	loaded, err := server.Alerts()
	require.NoError(t, err)
	assert.Len(t, loaded, len(alertQueries(t)), "every rule is loaded, and evaluated without error")
	require.Eventually(t, func() bool {
		states, err := server.Alerts()
		return err == nil && states["AttentionFinding"] == "pending" && states["SiteSilent"] == "pending"
	}, time.Minute, 100*time.Millisecond, "they wait for their time")
}
