package metrics_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/dashboards/metrics"
	"coldweek/ingest/receive"
	"coldweek/ingest/store"
)

var (
	evening = time.Date(2026, 1, 14, 18, 0, 0, 0, time.UTC)
	midday  = time.Date(2026, 1, 14, 12, 0, 0, 0, time.UTC)
	routes  = []metrics.Route{
		{Way: "e-mail", Sent: 12, Failed: 5, GivenUp: 1, Waiting: 2, Stuck: 1, OldestStuck: midday},
		{Way: "mqtt", Sent: 40},
	}
)

// troubled is what a look shows of a plant with low flow and two cold rooms.
func troubled() job.Watched {
	return job.Watched{
		Open: []watch.Finding{
			{Kind: "low_flow", Severity: watch.Urgent, Since: midday},
			{Kind: "room_cold/attic", Severity: watch.Attention, Since: midday.Add(time.Hour)},
			{Kind: "room_cold/kitchen", Severity: watch.Attention, Since: midday.Add(-time.Hour)},
		},
		Glance: watch.Glance{
			Newest: evening.Add(-time.Minute), OutdoorC: new(-7.5), FlowC: new(41.0), ReturnC: new(29.0),
			RoomBelowSetK: new(1.5), FlowRateLPH: new(360.0), FlowLimitLPH: new(720.0),
		},
		LastDay: job.LastDay{From: midday.Add(-36 * time.Hour), Figures: map[string]float64{
			"coverage": 0.98, "net_kwh": 60, "electricity_kwh": 20, "backup_electricity_kwh": 0.5, "starts": 24, "run_hours": 18, "defrost_minutes": 90,
		}},
	}
}

// byLabels returns a family's values by all their labels, in the page's order,
// without their names.
func byLabels(family *dto.MetricFamily) map[string]float64 {
	values := map[string]float64{}
	for _, m := range family.GetMetric() {
		var labels []string
		for _, l := range m.GetLabel() {
			labels = append(labels, l.GetValue())
		}
		values[strings.Join(labels, " ")] = m.GetGauge().GetValue() + m.GetCounter().GetValue()
	}
	return values
}

func TestPlantFigures(t *testing.T) {
	s := begin(t)
	o := s.everything("mill-cottage")
	families := scrape(t, handler(t, o))
	for name, want := range map[string]float64{
		"last_look_timestamp_seconds": 1768413600, "last_reading_timestamp_seconds": 1768413540,
		"outdoor_celsius": -7.5, "flow_celsius": 41, "return_celsius": 29, "room_below_set_kelvin": 1.5,
		"flow_cubic_meters_per_second": 0.0001, "flow_limit_cubic_meters_per_second": 0.0002,
		"day_start_timestamp_seconds": 1768262400, "day_coverage_ratio": 0.98, "day_heat_joules": 216e6, "day_electricity_joules": 72e6,
		"day_backup_joules": 1.8e6, "day_compressor_starts": 24, "day_compressor_run_seconds": 64800, "day_defrost_seconds": 5400,
	} {
		got := byLabel(families["coldweek_site_"+name])
		if assert.Contains(t, got, "mill-cottage", name) {
			assert.InEpsilon(t, want, got["mill-cottage"], 1e-12, name)
		}
	}
	// A plant of which nothing is known has only the look itself, and no findings.
	o.Plants.Put("mill-cottage", evening, job.Watched{}, nil)
	for name, family := range scrape(t, handler(t, o)) {
		if strings.HasPrefix(name, "coldweek_site_") && name != "coldweek_site_findings" {
			assert.Equal(t, "coldweek_site_last_look_timestamp_seconds", name, family)
		}
	}
}

// TestASiteThatIsRemovedDisappears, and has nothing left of before when it comes
// back.
func TestASiteThatIsRemovedDisappears(t *testing.T) {
	s := begin(t)
	o := s.everything("mill-cottage", "orchard-house")
	ids := []string{"mill-cottage", "orchard-house"}
	o.Sites = func() []string { return ids }
	h := handler(t, o)
	assert.Contains(t, get(h).Body.String(), "mill-cottage")
	ids = ids[1:]
	text := get(h).Body.String()
	assert.NotContains(t, text, "mill-cottage")
	assert.Contains(t, text, "orchard-house")
	ids = []string{"mill-cottage"}
	assert.NotContains(t, get(h).Body.String(), "mill-cottage")
}

func TestFindingsByWhatEngineersDid(t *testing.T) {
	s := begin(t)
	now := evening
	o := s.options("mill-cottage")
	o.Plants = metrics.NewPlants(func() time.Time { return now })
	h := handler(t, o)
	check := func(why string, counts, starts map[string]float64) {
		t.Helper()
		families := scrape(t, h)
		got := byLabels(families["coldweek_site_findings"])
		assert.Len(t, got, 6, "every severity and state is there")
		for labels, n := range got { // severity, site, state
			assert.InDelta(t, counts[labels], n, 0, "%s: %s", why, labels)
		}
		assert.Equal(t, starts, byLabels(families["coldweek_site_finding_start_timestamp_seconds"]), why)
	}
	put := func(w job.Watched, actions ...store.Action) {
		for i := range actions {
			actions[i].Site = "mill-cottage"
		}
		o.Plants.Put("mill-cottage", now, w, actions)
	}
	put(troubled())
	check("nobody did anything",
		map[string]float64{"urgent mill-cottage open": 1, "attention mill-cottage open": 2},
		map[string]float64{"low_flow urgent mill-cottage open": 1768392000, "room_cold attention mill-cottage open": 1768388400})

	seen := store.Action{Kind: "low_flow", At: midday.Add(time.Hour), Deed: store.Acknowledge, By: "Ada"}
	mute := store.Action{Kind: "room_cold/kitchen", At: midday, Deed: store.Mute, Until: evening.Add(time.Hour)}
	put(troubled(), mute, seen)
	acknowledged := map[string]float64{"low_flow urgent mill-cottage acknowledged": 1768392000, "room_cold attention mill-cottage open": 1768395600}
	check("one acknowledged, one muted", map[string]float64{"urgent mill-cottage acknowledged": 1, "attention mill-cottage open": 1}, acknowledged)

	now = evening.Add(time.Hour)
	check("the mute is over, with no new look", map[string]float64{"urgent mill-cottage acknowledged": 1, "attention mill-cottage open": 2},
		map[string]float64{"low_flow urgent mill-cottage acknowledged": 1768392000, "room_cold attention mill-cottage open": 1768388400})
}

// TestWhatBecameWorseIsOpenAgain: acknowledged when it asked for attention, urgent
// since; and no better for being seen again.
func TestWhatBecameWorseIsOpenAgain(t *testing.T) {
	s := begin(t)
	o := s.options("mill-cottage")
	o.Plants = metrics.NewPlants(func() time.Time { return evening })
	h := handler(t, o)
	actions := []store.Action{{Site: "mill-cottage", Kind: "low_flow", At: midday.Add(time.Hour), Deed: store.Acknowledge}}
	look := func(at time.Time, severity watch.Severity) map[string]float64 {
		o.Plants.Put("mill-cottage", at, job.Watched{Open: []watch.Finding{{Kind: "low_flow", Severity: severity, Since: midday}}}, actions)
		counts := map[string]float64{}
		for labels, n := range byLabels(scrape(t, h)["coldweek_site_findings"]) {
			if n > 0 {
				counts[labels] = n
			}
		}
		return counts
	}
	assert.Equal(t, map[string]float64{"attention mill-cottage acknowledged": 1}, look(midday.Add(2*time.Hour), watch.Attention))
	for hour := range 2 {
		assert.Equal(t, map[string]float64{"urgent mill-cottage open": 1}, look(midday.Add(time.Duration(3+hour)*time.Hour), watch.Urgent))
	}
	actions = append(actions, store.Action{Site: "mill-cottage", Kind: "low_flow", At: midday.Add(5 * time.Hour), Deed: store.Acknowledge})
	assert.Equal(t, map[string]float64{"urgent mill-cottage acknowledged": 1}, look(evening, watch.Urgent))
}

func TestTasks(t *testing.T) {
	s := begin(t)
	now := evening
	o := s.options()
	o.Tasks = metrics.NewTasks(func() time.Time { return now })
	h := handler(t, o)
	takes := func(d time.Duration, err error) func(context.Context) error {
		return func(context.Context) error { now = now.Add(d); return err }
	}
	families := scrape(t, h)
	assert.Equal(t, map[string]float64{"look": 0, "seal": 0, "site_days": 0, "watch_round": 0}, byLabel(families["coldweek_task_failures_total"]))
	assert.NotContains(t, families, "coldweek_task_last_success_timestamp_seconds")

	broken := errors.New("disk full")
	require.NoError(t, o.Tasks.Do(t.Context(), metrics.Look, takes(2*time.Second, nil)))
	require.ErrorIs(t, o.Tasks.Do(t.Context(), metrics.Look, takes(90*time.Second, broken)), broken)
	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	require.Error(t, o.Tasks.Do(stopped, metrics.Look, takes(time.Hour, context.Canceled)))

	families = scrape(t, h)
	assert.InDelta(t, 1, byLabel(families["coldweek_task_failures_total"])["look"], 0)
	assert.Equal(t, map[string]float64{"look": 1768413602}, byLabel(families["coldweek_task_last_success_timestamp_seconds"]))
	for _, m := range families["coldweek_task_duration_seconds"].GetMetric() {
		if m.GetLabel()[0].GetValue() != "look" {
			assert.Zero(t, m.GetHistogram().GetSampleCount())
			continue
		}
		assert.EqualValues(t, 2, m.GetHistogram().GetSampleCount(), "a task that was stopped is none")
		assert.InDelta(t, 92, m.GetHistogram().GetSampleSum(), 1e-9)
	}
}

func TestRoutesAndDisk(t *testing.T) {
	s := begin(t)
	o := s.everything()
	h := handler(t, o)
	families := scrape(t, h)
	for name, want := range map[string]map[string]float64{
		"notifications_sent_total":                    {"e-mail": 12, "mqtt": 40},
		"notification_failures_total":                 {"e-mail": 5, "mqtt": 0},
		"notifications_given_up_total":                {"e-mail": 1, "mqtt": 0},
		"notifications_waiting":                       {"e-mail": 2, "mqtt": 0},
		"notifications_stuck":                         {"e-mail": 1, "mqtt": 0},
		"notification_oldest_stuck_timestamp_seconds": {"e-mail": 1768392000},
		"data_filesystem_free_bytes":                  {"": 3 << 30},
		"data_filesystem_size_bytes":                  {"": 64 << 30},
	} {
		assert.Equal(t, want, byLabel(families["coldweek_"+name]), name)
	}

	o.Disk = func() (metrics.Disk, error) { return metrics.Disk{}, errors.New("folder gone") }
	o.Routes = func(context.Context) ([]metrics.Route, error) { return nil, errors.New("outbox locked") }
	families = scrape(t, handler(t, o))
	for name := range families {
		assert.False(t, strings.Contains(name, "notification") || strings.Contains(name, "filesystem"), name)
	}
	assert.Contains(t, s.log.String(), "read what is to be told: outbox locked")
	assert.Contains(t, s.log.String(), "read the data folder's file system: folder gone")
}

// TestNewestReading is the later of what the intake took and what looks found.
func TestNewestReading(t *testing.T) {
	s := begin(t)
	o := s.options("mill-cottage", "orchard-house", "silent-barn", "unseen")
	o.Plants = metrics.NewPlants(time.Now)
	o.Intake = func() receive.Stats {
		return receive.Stats{Newest: map[string]time.Time{"mill-cottage": midday, "orchard-house": evening, "unseen": midday}}
	}
	for _, id := range []string{"mill-cottage", "orchard-house", "silent-barn"} {
		o.Plants.Put(id, evening, job.Watched{Glance: watch.Glance{Newest: midday.Add(time.Hour)}}, nil)
	}
	assert.Equal(t, map[string]float64{"mill-cottage": 1768395600, "orchard-house": 1768413600, "silent-barn": 1768395600, "unseen": 1768392000},
		byLabel(scrape(t, handler(t, o))["coldweek_site_last_reading_timestamp_seconds"]))
}
