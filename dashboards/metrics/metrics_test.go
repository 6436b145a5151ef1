package metrics_test

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/metrics"
	"coldweek/ingest"
	"coldweek/ingest/programtest"
	"coldweek/ingest/receive"
	"coldweek/ingest/store"
)

// names is what dashboards and rules are drawn against.
const names = `coldweek_build_info coldweek_data_filesystem_free_bytes coldweek_data_filesystem_size_bytes coldweek_database_up
coldweek_ingest_acknowledgement_seconds coldweek_ingest_commit_failures_total coldweek_ingest_commits_total
coldweek_ingest_messages_lost_total coldweek_ingest_messages_total coldweek_ingest_queued_messages
coldweek_ingest_readings_changed_total coldweek_ingest_readings_total coldweek_ingest_refused_total
coldweek_journal_batches coldweek_journal_forward_failures_total coldweek_journal_forwarded_readings_total
coldweek_journal_oldest_timestamp_seconds coldweek_journal_readings
coldweek_notification_failures_total coldweek_notification_oldest_stuck_timestamp_seconds coldweek_notifications_given_up_total
coldweek_notifications_sent_total coldweek_notifications_stuck coldweek_notifications_waiting
coldweek_quarantine_messages coldweek_quarantine_refused_total
coldweek_site_day_backup_joules coldweek_site_day_compressor_run_seconds coldweek_site_day_compressor_starts
coldweek_site_day_coverage_ratio coldweek_site_day_defrost_seconds coldweek_site_day_electricity_joules
coldweek_site_day_heat_joules coldweek_site_day_start_timestamp_seconds
coldweek_site_finding_start_timestamp_seconds coldweek_site_findings coldweek_site_flow_celsius
coldweek_site_flow_cubic_meters_per_second coldweek_site_flow_limit_cubic_meters_per_second
coldweek_site_last_look_timestamp_seconds coldweek_site_last_reading_timestamp_seconds
coldweek_site_outdoor_celsius coldweek_site_return_celsius coldweek_site_room_below_set_kelvin
coldweek_task_duration_seconds coldweek_task_failures_total coldweek_task_last_success_timestamp_seconds`

var waiting = metrics.Journal{Batches: 3, Readings: 1200, Oldest: time.UnixMilli(1_768_392_000_500), Forwarded: 8000, Failures: 2, Up: true}

func TestNamesAreKeptAndFollowTheConventions(t *testing.T) {
	s := begin(t, "mill-cottage")
	s.publish("coldweek/mill-cottage/power", "900")
	w := get(handler(t, s.everything("mill-cottage")))
	text := w.Body.String()
	families := parse(t, strings.NewReader(text))
	var ours []string
	for name := range families {
		if strings.HasPrefix(name, "coldweek_") {
			ours = append(ours, name)
		}
	}
	slices.Sort(ours)
	assert.Equal(t, strings.Fields(names), ours)
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	require.NoError(t, err)
	assert.Empty(t, problems)
	checkWithPromtool(t, text)
}

// checkWithPromtool asks Prometheus' own checker of pages.
func checkWithPromtool(t *testing.T, text string) {
	t.Helper()
	c := exec.Command(programtest.Find(t, "promtool", "prometheus"), "check", "metrics")
	c.Stdin = strings.NewReader(text)
	output, err := c.CombinedOutput()
	assert.NoError(t, err, "%s", output)
	assert.Empty(t, string(output))
}

func TestEveryReasonIsThereFromTheStart(t *testing.T) {
	s := begin(t, "mill-cottage")
	families := scrape(t, handler(t, s.options("mill-cottage")))
	zeros := map[string]float64{}
	for _, reason := range ingest.Reasons() {
		zeros[string(reason)] = 0
	}
	for _, name := range []string{"coldweek_ingest_refused_total", "coldweek_quarantine_messages", "coldweek_quarantine_refused_total"} {
		assert.Equal(t, zeros, byLabel(families[name]), name)
	}
	for _, name := range []string{"coldweek_site_last_reading_timestamp_seconds", "coldweek_database_up", "coldweek_journal_readings"} {
		assert.NotContains(t, families, name, "what is not known has no series")
	}
}

// TestAcknowledgementIsAHistogram gives each bucket's worth of the intake's
// counts and looks for them in Prometheus' cumulative form.
func TestAcknowledgementIsAHistogram(t *testing.T) {
	s := begin(t)
	o := s.options()
	o.Intake = func() receive.Stats {
		return receive.Stats{Latency: receive.Latency{
			Bounds: []time.Duration{5 * time.Millisecond, time.Second, 2500 * time.Millisecond},
			Counts: []int64{4, 0, 2, 1}, Sum: 13*time.Second + 20*time.Millisecond,
		}}
	}
	h := scrape(t, handler(t, o))["coldweek_ingest_acknowledgement_seconds"].GetMetric()[0].GetHistogram()
	assert.EqualValues(t, 7, h.GetSampleCount())
	assert.InDelta(t, 13.02, h.GetSampleSum(), 1e-9)
	below := map[float64]uint64{}
	for _, b := range h.GetBucket()[:3] {
		below[b.GetUpperBound()] = b.GetCumulativeCount()
	}
	assert.Equal(t, map[float64]uint64{0.005: 4, 1: 4, 2.5: 6}, below)
}

func TestOnlySitesOfTheRecordsAreNamed(t *testing.T) {
	s := begin(t, "mill-cottage", "orchard-house")
	s.publishSome()
	families := scrape(t, handler(t, s.options("orchard-house", "silent-barn")))
	assert.Equal(t, map[string]float64{"orchard-house": 1768391000}, byLabel(families["coldweek_site_last_reading_timestamp_seconds"]))
}

func TestJournal(t *testing.T) {
	s := begin(t)
	o := s.options()
	now, err := waiting, error(nil)
	o.Journal = func(context.Context) (metrics.Journal, error) { return now, err }
	h := handler(t, o)
	check := func(want map[string]float64) {
		t.Helper()
		got := map[string]float64{}
		for name, family := range scrape(t, h) {
			if strings.HasPrefix(name, "coldweek_journal_") || name == "coldweek_database_up" {
				got[name] = byLabel(family)[""]
			}
		}
		assert.Equal(t, want, got)
	}
	want := map[string]float64{
		"coldweek_journal_batches": 3, "coldweek_journal_readings": 1200, "coldweek_journal_oldest_timestamp_seconds": 1768392000.5,
		"coldweek_journal_forwarded_readings_total": 8000, "coldweek_journal_forward_failures_total": 2, "coldweek_database_up": 1,
	}
	check(want)
	now = metrics.Journal{Forwarded: 9200, Failures: 3}
	maps.Copy(want, map[string]float64{
		"coldweek_journal_batches": 0, "coldweek_journal_readings": 0,
		"coldweek_journal_forwarded_readings_total": 9200, "coldweek_journal_forward_failures_total": 3, "coldweek_database_up": 0,
	})
	delete(want, "coldweek_journal_oldest_timestamp_seconds")
	check(want)
	err = errors.New("disk broken")
	check(map[string]float64{})
	assert.Contains(t, s.log.String(), "read the journal's depth: disk broken")
}

// TestStoreThatCannotAnswer: the quarantine's numbers are gone, the others stay,
// and it is told.
func TestStoreThatCannotAnswer(t *testing.T) {
	s := begin(t, "mill-cottage")
	s.publish("coldweek/mill-cottage/power", "900")
	h := handler(t, s.options("mill-cottage"))
	require.NoError(t, s.store.Close())
	families := scrape(t, h)
	assert.Equal(t, map[string]float64{"": 1}, byLabel(families["coldweek_ingest_messages_total"]))
	assert.Contains(t, families, "go_goroutines")
	assert.NotContains(t, families, "coldweek_quarantine_messages")
	assert.NotContains(t, families, "coldweek_quarantine_refused_total")
	assert.Contains(t, s.log.String(), "level=ERROR")
	assert.Contains(t, s.log.String(), "read the quarantine's counts: count refused messages: ")
	assert.InDelta(t, 1, byLabel(scrape(t, h)["promhttp_metric_handler_errors_total"])["gathering"], 0, "of the first scrape")
}

func TestStoreThatDoesNotAnswerHoldsNoScrapeUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		stuck := func(ctx context.Context) ([]store.QuarantineCount, error) {
			<-ctx.Done()
			return nil, ctx.Err()
		}
		h := handler(t, metrics.Options{
			Version: "v1", Intake: func() receive.Stats { return receive.Stats{Messages: 5} }, Quarantine: stuck,
			Sites: func() []string { return nil }, Logger: slog.New(slog.DiscardHandler),
		})
		began := time.Now()
		families := scrape(t, h)
		assert.Less(t, time.Since(began), 10*time.Second, "Prometheus' own patience")
		assert.Equal(t, map[string]float64{"": 5}, byLabel(families["coldweek_ingest_messages_total"]))
	})
}

func TestOptionsAreChecked(t *testing.T) {
	s := begin(t)
	check := func(want string, change func(*metrics.Options)) {
		t.Helper()
		o := s.options()
		change(&o)
		_, err := metrics.New(o)
		assert.ErrorContains(t, err, want)
	}
	check("no version", func(o *metrics.Options) { o.Version = "" })
	check("no intake", func(o *metrics.Options) { o.Intake = nil })
	check("no quarantine", func(o *metrics.Options) { o.Quarantine = nil })
	check("no sites", func(o *metrics.Options) { o.Sites = nil })
	check("no logger", func(o *metrics.Options) { o.Logger = nil })
	assert.Equal(t, http.StatusOK, get(handler(t, s.options())).Code)
}
