package main

import (
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// TestFindingsByCommandLine loads a week in which the simulated flow falls by 30 %
// at the third midnight, and goes through what an engineer does with it.
func TestFindingsByCommandLine(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "home")
	must(t, "init", dir)
	file, record := filepath.Join(t.TempDir(), "week.csv"), filepath.Join(dir, "sites", "orchard-house.yaml")
	must(t, "rig", "csv", "--house", "orchard-house", "--days", "7", "--every", "60s", "--trouble", "flow_step@3", "--out", file, "--record", record)
	must(t, "load", "orchard-house", file, "--home", dir)
	assert.Contains(t, must(t, "findings", "--home", dir), "Nothing was noticed")

	history := []string{"watch", "orchard-house", "--from", "2026-01-01", "--to", "2026-01-08", "--home", dir}
	out := must(t, history...)
	assert.Contains(t, out, "The flow fell by 30 % at once")
	assert.Equal(t, out, must(t, history...), "again on history changes nothing")

	var all []findingJSON
	require.NoError(t, json.Unmarshal([]byte(must(t, "findings", "orchard-house", "--all", "--json", "--home", dir)), &all))
	k := 0
	for k < len(all)-1 && all[k].Kind != "flow_stepped" {
		k++
	}
	require.Equal(t, "flow_stepped", all[k].Kind)
	assert.WithinDuration(t, time.Date(2026, 1, 4, 0, 0, 0, 0, time.UTC), all[k].Since, 30*time.Minute, "the third midnight")
	assert.InDelta(t, -30, all[k].Evidence["change_pct"], 1.5)
	assert.False(t, all[k].Acknowledged)

	_, errOut, code := coldweek(t, "ack", "orchard-house", "flow_steped", "--home", dir)
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, `did you mean "flow_stepped"?`)
	assert.Contains(t, must(t, "ack", "orchard-house", all[k].ID, "--by", "Ada", "--home", dir), "flow_stepped of orchard-house; acknowledged by Ada")
	must(t, "ack", "orchard-house", "flow_stepped", "--note", "strainer on Friday", "--by", "Ada", "--home", dir)
	assert.Contains(t, must(t, "findings", "--all", "--home", dir), "; acknowledged by Ada (strainer on Friday)")
	assert.Contains(t, must(t, "mute", "orchard-house", "flow_stepped", "--for", "36h", "--home", dir), "; muted until ")
	assert.Contains(t, must(t, "mute", "orchard-house", "flow_stepped", "--for", "0", "--home", dir), "; told again from now on")
	_, errOut, code = coldweek(t, "mute", "orchard-house", "flow_stepped", "--for", "soon", "--home", dir)
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, "write weeks (2w), days (14d) or hours (36h)")
	assert.Contains(t, must(t, "mute", "orchard-house", "room_cold/attic", "--for", "2w", "--home", dir), "; muted until ", "what has not come yet")
	_, errOut, code = coldweek(t, "mute", "orchard-house", "room_colt", "--home", dir)
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, `did you mean "room_cold"?`)
	_, errOut, code = coldweek(t, "ack", "orchard-house", "silent", "--home", dir)
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, `has no finding "silent"`)
	must(t, "mute", "orchard-house", "flow_stepped", "--for", "1ms", "--home", dir)
	assert.Contains(t, must(t, "findings", "--all", "--home", dir), "; acknowledged by Ada", "after a mute that has ended")
	require.NoError(t, os.Remove(file))
}

func TestFigureLine(t *testing.T) {
	assert.Equal(t, "flow rate before 1080 l/h", figureLine(watch.Figure{Name: "flow_rate_before_lph", Value: 1080.4, Unit: "l/h"}))
}

// What was open, raised and ended is told as that, once each, and what began and
// ended between two looks is told as both.
func TestLookoutTellsWhatHappened(t *testing.T) {
	l := newLookout(nil, nil)
	record := &site.Record{ID: "mill"}
	now := time.Date(2026, 1, 5, 12, 0, 0, 0, time.UTC)
	f := watch.Finding{Kind: "low_flow", Severity: watch.Severity(store.Attention), Since: now.Add(-time.Hour), Title: "little"}
	what := func() (told []string) {
		for _, e := range l.unsent {
			require.NoError(t, e.Check())
			told = append(told, string(e.What))
		}
		l.unsent = nil
		return told
	}
	l.changed(record, &f, now)
	assert.Equal(t, []string{"opened"}, what())
	l.changed(record, &f, now)
	assert.Empty(t, what())
	f.Severity = watch.Severity(store.Urgent)
	l.changed(record, &f, now)
	assert.Equal(t, []string{"raised"}, what())
	f.Until = now
	l.changed(record, &f, now)
	assert.Equal(t, []string{"ended"}, what())
	f.Until = now.Add(time.Minute)
	l.changed(record, &f, now)
	assert.Empty(t, what(), "its end moved")
	f.Until = time.Time{}
	l.changed(record, &f, now)
	assert.Equal(t, []string{"opened"}, what(), "it is not over after all")
	f.Until = f.Since
	l.changed(record, &f, now)
	assert.Equal(t, []string{"ended"}, what(), "there was nothing")
	short := watch.Finding{Kind: "silent", Severity: watch.Severity(store.Attention), Since: now.Add(-time.Hour), Until: now, Title: "quiet"}
	l.changed(record, &short, now)
	assert.Equal(t, []string{"opened", "ended"}, what())
}

// TestAStartTellsWhatWasKeptAndNotHandedOver: the process ended after a finding was
// kept and before the outbox had it, be it new, worse than it was, over or withdrawn.
func TestAStartTellsWhatWasKeptAndNotHandedOver(t *testing.T) {
	h := notifyHome(t, "  mqtt: {url: 'tcp://127.0.0.1:1'}\n  engineers:\n    - {name: Ada, mqtt: {topic: firm}, time_zone: UTC}\n")
	c, err := h.parseConfig()
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(h.dataDir(), 0o700))
	st, err := (&app{streams: streams{err: os.Stderr}}).openStores(t.Context(), h)
	require.NoError(t, err)
	defer func() { assert.NoError(t, st.close()) }()
	n, err := c.Notify.open(t.Context(), h, nil, nil)
	require.NoError(t, err)
	defer func() { assert.NoError(t, n.Close()) }()

	now := time.Date(2026, 1, 20, 12, 0, 0, 0, time.UTC)
	kept := map[string]watch.Finding{}
	keep := func(kind string, severity store.Severity, age time.Duration, change func(f *watch.Finding)) {
		f := watch.Finding{Kind: kind, Severity: watch.Severity(severity), Since: now.Add(-age), Title: kind}
		change(&f)
		stored, err := job.StoreFinding("mill-cottage", &f)
		require.NoError(t, err)
		require.NoError(t, st.PutFindings(t.Context(), []store.Finding{stored}))
		kept[kind] = f
	}
	begun := func() (told []string) {
		l := newLookout(&service{store: st, logger: slog.New(slog.DiscardHandler)}, n)
		require.NoError(t, l.begin(t.Context(), &site.Record{ID: "mill-cottage"}, now))
		for _, e := range l.unsent {
			told = append(told, string(e.What)+" "+e.Kind+" "+string(e.Severity))
		}
		l.handOver(t.Context())
		assert.Empty(t, l.unsent)
		return told
	}
	lasting := func(*watch.Finding) {}
	keep("low_flow", store.Attention, 30*24*time.Hour, lasting)
	keep("silent", store.Attention, 20*24*time.Hour, lasting)
	keep("pump_idle", store.Attention, time.Hour, lasting)
	keep("curve_high", store.Info, 9*24*time.Hour, func(f *watch.Finding) { f.Until = f.Since.Add(time.Hour) })
	assert.Equal(t, []string{"opened low_flow attention", "opened silent attention", "opened pump_idle attention"}, begun(), "not what is history")
	assert.Empty(t, begun())
	keep("low_flow", store.Urgent, 30*24*time.Hour, lasting)
	keep("silent", store.Attention, 20*24*time.Hour, func(f *watch.Finding) { f.Until = f.Since })
	keep("pump_idle", store.Attention, time.Hour, func(f *watch.Finding) { f.Until = now })
	keep("hot_water_slow", store.Attention, time.Hour, func(f *watch.Finding) { f.Until = f.Since })
	keep("short_cycling", store.Attention, time.Hour, func(f *watch.Finding) { f.Until = now })
	assert.Equal(t, []string{"raised low_flow urgent", "ended silent attention", "ended pump_idle attention",
		"opened short_cycling attention", "ended short_cycling attention"}, begun(), "of what was withdrawn before it was told, nothing")
	assert.Empty(t, begun())
	keep("silent", store.Attention, 20*24*time.Hour, lasting)
	keep("pump_idle", store.Attention, time.Hour, func(f *watch.Finding) { f.Until = now.Add(-time.Minute) })
	assert.Equal(t, []string{"opened silent attention"}, begun(), "what is open after all, and nothing of an end that moved")
	assert.Empty(t, begun())
	assert.Contains(t, must(t, "notify", "pending", "--home", h.dir), "reopened")
}
