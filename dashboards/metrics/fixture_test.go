package metrics_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/metrics"
	"coldweek/ingest"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

// service is what the numbers are about: an intake at work on a store.
type service struct {
	t      testing.TB
	path   string // of the store
	store  *local.Store
	intake *receive.Intake
	stop   func() error
	log    *strings.Builder
}

// begin starts the intake for sites of these ids.
func begin(t testing.TB, ids ...string) *service {
	t.Helper()
	s := &service{t: t, path: filepath.Join(t.TempDir(), "readings.sqlite"), log: &strings.Builder{}}
	var err error
	s.store, err = local.Open(t.Context(), s.path, local.Options{LockWait: time.Millisecond})
	require.NoError(t, err)
	var records []*site.Record
	for _, id := range ids {
		records = append(records, &site.Record{ID: id, TimeZone: "Europe/London"})
	}
	decoder, err := payload.NewDecoder(records)
	require.NoError(t, err)
	s.intake, err = receive.NewIntake(receive.Options{Sink: s.store, Decoder: decoder, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.intake.Run(ctx) }()
	s.stop = func() error { cancel(); return <-done }
	t.Cleanup(func() {
		assert.NoError(t, s.stop())
		assert.NoError(t, s.store.Close())
	})
	return s
}

// options are those of the program for these sites.
func (s *service) options(ids ...string) metrics.Options {
	return metrics.Options{
		Version: "v1.2.3", Intake: s.intake.Stats, Quarantine: s.store.RefusalCounts,
		Sites:  func() []string { return ids },
		Logger: slog.New(slog.NewTextHandler(s.log, nil)),
	}
}

// everything are options with all there may be, each site looked at once.
func (s *service) everything(ids ...string) metrics.Options {
	o := s.options(ids...)
	o.Plants, o.Tasks = metrics.NewPlants(time.Now), metrics.NewTasks(time.Now)
	for _, id := range ids {
		o.Plants.Put(id, evening, troubled(), nil)
		require.NoError(s.t, o.Tasks.Do(s.t.Context(), metrics.Look, func(context.Context) error { return nil }))
	}
	o.Disk = func() (metrics.Disk, error) { return metrics.Disk{FreeBytes: 3 << 30, SizeBytes: 64 << 30}, nil }
	o.Journal = func(context.Context) (metrics.Journal, error) { return waiting, nil }
	o.Routes = func(context.Context) ([]metrics.Route, error) { return routes, nil }
	return o
}

// publish hands a message over and waits until it is on disk.
func (s *service) publish(topic, body string) {
	s.t.Helper()
	require.NoError(s.t, s.intake.Publish(s.t.Context(), receive.Message{Topic: topic, Payload: []byte(body)}))
}

// publishSome hands over what wanted expects.
func (s *service) publishSome() {
	s.t.Helper()
	s.publish("coldweek/mill-cottage/senml", `[{"bn":"mill-cottage/","bt":1768392000,"n":"flow_temp","u":"Cel","v":35.5},{"n":"power","u":"W","v":900,"t":10.25}]`)
	s.publish("coldweek/mill-cottage/senml", `[{"n":"mill-cottage/power","u":"W","v":900,"t":1768392010.25}]`) // nothing new
	s.publish("coldweek/orchard-house/senml", `[{"n":"orchard-house/power","u":"W","v":1200,"t":1768391000}]`)
	s.publish("coldweek/orchard-house/power", "warm")
	s.publish("coldweek/orchard-house/power", "warmer")
	s.publish("coldweek/nobody/power", "1")
}

// wanted are the values that publishSome leads to, in the words of PromQL.
var wanted = map[string]float64{
	`coldweek_ingest_messages_total`:                                                          6,
	`coldweek_ingest_readings_total`:                                                          4,
	`coldweek_ingest_readings_changed_total`:                                                  3,
	`coldweek_ingest_commits_total`:                                                           6,
	`coldweek_ingest_commit_failures_total`:                                                   0,
	`coldweek_ingest_messages_lost_total`:                                                     0,
	`coldweek_ingest_queued_messages`:                                                         0,
	`coldweek_ingest_acknowledgement_seconds_count`:                                           6,
	`coldweek_ingest_refused_total{reason="bad_payload"}`:                                     2,
	`coldweek_ingest_refused_total{reason="unknown_site"}`:                                    1,
	`coldweek_ingest_refused_total{reason="too_large"}`:                                       0,
	`coldweek_quarantine_messages{reason="bad_payload"}`:                                      2,
	`coldweek_quarantine_refused_total{reason="bad_payload"}`:                                 2,
	`coldweek_quarantine_refused_total{reason="bad_time"}`:                                    0,
	`coldweek_site_last_reading_timestamp_seconds{site="mill-cottage"}`:                       1768392010.25,
	`coldweek_site_last_reading_timestamp_seconds{site="orchard-house"}`:                      1768391000,
	`coldweek_build_info{version="v1.2.3"}`:                                                   1,
	`promhttp_metric_handler_errors_total{cause="gathering"}`:                                 0,
	`count(coldweek_ingest_refused_total)`:                                                    float64(len(ingest.Reasons())),
	`count(coldweek_quarantine_messages)`:                                                     float64(len(ingest.Reasons())),
	`count(coldweek_site_last_reading_timestamp_seconds)`:                                     2,
	`count(time() - last_over_time(coldweek_site_last_reading_timestamp_seconds[7d]) > 3600)`: 2, // the README's
	`count({__name__=~"go_goroutines|process_resident_memory_bytes"})`:                        2,
	`count({__name__=~"coldweek_(journal|database).*"}) or vector(0)`:                         0,
	`coldweek_ingest_acknowledgement_seconds_bucket{le="+Inf"}`:                               6,
	`histogram_quantile(1, coldweek_ingest_acknowledgement_seconds_bucket) > bool 0`:          1,
}

func handler(t testing.TB, o metrics.Options) http.Handler {
	t.Helper()
	h, err := metrics.New(o)
	require.NoError(t, err)
	return h
}

func get(h http.Handler) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	return w
}

// scrape reads the page.
func scrape(t testing.TB, h http.Handler) map[string]*dto.MetricFamily {
	t.Helper()
	w := get(h)
	require.Equal(t, http.StatusOK, w.Code)
	return parse(t, w.Body)
}

func parse(t testing.TB, text io.Reader) map[string]*dto.MetricFamily {
	t.Helper()
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(text)
	require.NoError(t, err)
	return families
}

// byLabel returns a family's values by their only label, "" where there is none.
func byLabel(family *dto.MetricFamily) map[string]float64 {
	values := map[string]float64{}
	for _, m := range family.GetMetric() {
		label := ""
		if len(m.GetLabel()) > 0 {
			label = m.GetLabel()[0].GetValue()
		}
		values[label] = m.GetCounter().GetValue() + m.GetGauge().GetValue()
	}
	return values
}
