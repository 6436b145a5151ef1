package grafana_test

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/dashboards/metrics"
	"coldweek/ingest"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/rig"
	"coldweek/ingest/store/local"
)

var (
	measured   = regexp.MustCompile(`FROM "(\w+)"`)
	quoted     = regexp.MustCompile(`(AS |FROM )?"([^"]+)"`)
	ofChannels = regexp.MustCompile(`"channel" =~ /\^\(([\w|]+)\)`)
	ofReadings = regexp.MustCompile(`^SELECT mean\(/\^\$\{(\w+):regex\}\$/\) FROM "reading"`)
	metricName = regexp.MustCompile(`coldweek_\w+`)
)

// TestQueriesNameWhatIsStored: a misspelt measurement, tag, field or channel is
// no error to InfluxDB, only an empty panel. What is in each is told in
// ingest/store/influx.
func TestQueriesNameWhatIsStored(t *testing.T) {
	stored := map[string][]string{
		"channel":  {"site", "channel", "seen"},
		"site_day": append(fieldsOfADay(t), "site"),
		"finding":  {"site", "kind", "severity", "severity_level", "until_ms", "open"},
		"reading":  {"site"},
	}
	check := func(name, query string) {
		for _, m := range measured.FindAllStringSubmatch(query, -1) {
			for _, word := range quoted.FindAllStringSubmatch(query, -1) {
				if word[1] == "" {
					assert.Contains(t, stored[m[1]], word[2], "%s: %s", name, query)
				}
			}
		}
	}
	for _, b := range boards(t) {
		for _, a := range b.Annotations.List {
			check(b.Title, a.Target.Query)
		}
		for _, v := range b.Templating.List {
			check(b.Title, v.Query)
			if found := ofChannels.FindStringSubmatch(v.Query); found != nil {
				for quantity := range strings.SplitSeq(found[1], "|") {
					assert.True(t, ingest.Quantity(quantity).Known(), "%s: %s", b.Title, quantity)
				}
			}
		}
	}
	eachPanel(t, func(b board, p panel) {
		for _, q := range p.Targets {
			check(b.Title+": "+p.Title, q.Query)
			if strings.Contains(q.Query, `FROM "reading"`) {
				found := ofReadings.FindStringSubmatch(q.Query)
				require.Len(t, found, 2, q.Query)
				assert.True(t, slices.ContainsFunc(b.Templating.List, func(v variable) bool { return v.Name == found[1] }), found[1])
			}
		}
	})
}

// fieldsOfADay returns the names under which the analysis keeps a day's figures.
func fieldsOfADay(t *testing.T) []string {
	t.Helper()
	st, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, st.Close()) })
	house := rig.Houses()[0]
	house.Metering.Interval = time.Minute
	r, err := rig.New(house, winter)
	require.NoError(t, err)
	var batch []ingest.Reading
	r.Advance(winter.AddDate(0, 0, 1), func(reading ingest.Reading) { batch = append(batch, reading) })
	_, err = st.Append(t.Context(), batch)
	require.NoError(t, err)
	_, err = job.Days(t.Context(), st, house.Record(), job.Window{From: winter, To: winter.AddDate(0, 0, 1)}, nil)
	require.NoError(t, err)
	days, err := st.Days(t.Context(), house.ID, "2026-01-12", "2026-01-13")
	require.NoError(t, err)
	require.Len(t, days, 1)
	var names []string
	for name := range days[0].Fields {
		names = append(names, name)
	}
	return names
}

// TestQueriesNameMetricsThatAreThere looks at the page that Prometheus scrapes.
func TestQueriesNameMetricsThatAreThere(t *testing.T) {
	page := metricsPage(t)
	eachPanel(t, func(b board, p panel) {
		for _, q := range p.Targets {
			for _, name := range metricName.FindAllString(q.Expr, -1) {
				assert.Regexp(t, `(?m)^(# TYPE )?`+name+`[ {]`, page, "%s: %s", b.Title, p.Title)
			}
		}
	})
}

func metricsPage(t *testing.T) string {
	t.Helper()
	st, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, st.Close()) })
	decoder, err := payload.NewDecoder(nil)
	require.NoError(t, err)
	intake, err := receive.NewIntake(receive.Options{Sink: st, Decoder: decoder, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	handler, err := metrics.New(metrics.Options{
		Version: "test", Quarantine: st.RefusalCounts, Logger: slog.New(slog.DiscardHandler),
		Sites: func() []string { return []string{"mill-cottage"} },
		Intake: func() receive.Stats {
			s := intake.Stats()
			s.Newest = map[string]time.Time{"mill-cottage": winter}
			return s
		},
		Journal: func(context.Context) (metrics.Journal, error) { return metrics.Journal{Oldest: winter}, nil },
	})
	require.NoError(t, err)
	w := httptest.NewRecorder()
	handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, w.Code)
	return w.Body.String()
}
