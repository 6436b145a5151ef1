package job_test

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/rig"
)

// sought is a trouble of the rig and the findings that tell of it, by the
// beginnings of their kinds: any of them will do.
type sought struct {
	trouble  rig.Kind
	size     float64
	month    time.Month
	findings []string
	within   time.Duration // required of the median; 0 is none
	running  bool          // count the running time, not the time
	shows    func(p *played, onset time.Time) time.Time
	plant    func(seed uint64) rig.Plant
	sound    bool          // only plants that do not show it without the trouble
	after    time.Duration // onset from the start; 0 is the span's
	long     bool          // it takes weeks, of which the ordinary run has few
}

// unknowable are the troubles that no rule can find, and why.
var unknowable = map[rig.Kind]string{
	rig.GarbagePayloads: "what is no number never becomes a reading: it is in the quarantine, and what is lost is a gap",
}

// soughtTroubles is the rig's troubles by the family of rules that finds them.
func soughtTroubles() []sought {
	jan, apr, jul := time.January, time.April, time.July
	return append(comfortTroubles(), []sought{
		{trouble: rig.LowFlow, month: jan, findings: []string{"low_flow", "flow_stepped"}, within: time.Hour, running: true, shows: runs},
		{trouble: rig.LowFlow, size: 0.3, month: jan, findings: []string{"low_flow", "flow_stepped"}, within: time.Hour, running: true, shows: runs},
		{trouble: rig.FlowStep, month: jan, findings: []string{"flow_stepped"}, within: 30 * time.Minute, running: true, shows: runs},
		{trouble: rig.BlockingStrainer, size: 2, month: jan, findings: []string{"flow_falling", "low_flow"}, within: 4 * 24 * time.Hour, shows: runs},
		{trouble: rig.BlockingStrainer, size: 1, month: apr, findings: []string{"flow_falling", "low_flow"}, shows: runs},
		{trouble: rig.OversizedMinimum, month: apr, findings: []string{"short_cycling"}, within: 2 * time.Hour, shows: cycles, plant: lean, sound: true},
		{trouble: rig.TooLittleWater, month: apr, findings: []string{"short_cycling"}, within: 2 * time.Hour, shows: cycles, plant: lean, sound: true},
		{trouble: rig.ThermostatChopping, month: apr, findings: []string{"short_cycling"}, within: 2 * time.Hour, shows: cycles, plant: lean, sound: true},
		{trouble: rig.TightHysteresis, month: apr, findings: []string{"short_cycling"}, within: 2 * time.Hour, shows: cycles, plant: lean, sound: true},
		{trouble: rig.OnOffControl, month: apr, findings: []string{"short_cycling"}, within: 2 * time.Hour, shows: cycles, plant: lean, sound: true},
		{trouble: rig.DefrostTooOften, month: jan, findings: []string{"defrost_often"}, shows: defrosts(func(rig.DefrostRun) bool { return true })},
		{trouble: rig.DefrostTooLong, month: jan, findings: []string{"defrost_long"}, shows: defrosts(func(rig.DefrostRun) bool { return true })},
		{trouble: rig.DefrostInMild, month: time.March, findings: []string{"defrost_mild", "defrost_often"}, shows: defrosts(func(d rig.DefrostRun) bool { return d.OutdoorC > 9 })},
		{trouble: rig.DefrostNotClearing, month: jan, findings: []string{"defrost_not_clearing", "defrost_often"}, shows: defrosts(func(rig.DefrostRun) bool { return true })},
		{trouble: rig.SwappedSensors, month: jan, findings: []string{"pipes_swapped"}, within: time.Hour, shows: runs},
		{trouble: rig.SensorOffset, month: apr, findings: []string{"sensor_pair_offset"}, shows: runs},
		{trouble: rig.OutdoorStuck, month: jan, findings: []string{"sensor_stuck/outdoor_temp"}, shows: runs},
		{trouble: rig.OutdoorJumping, month: jan, findings: []string{"sensor_jumping/outdoor_temp"}, shows: runs},
		{trouble: rig.OutdoorDrifting, size: 0.5, after: 4 * 24 * time.Hour, month: jan, findings: []string{"sensor_drifting/outdoor_temp"}, shows: runs, plant: everything, long: true},
		{trouble: rig.OutdoorSunStruck, month: apr, findings: []string{"sensor_sun_struck/outdoor_temp"}, shows: runs, plant: everything},
		{trouble: rig.WrongFlowUnit, month: jan, findings: []string{"sensor_wrong_unit/flow_rate"}, shows: runs},
		{trouble: rig.WrongPowerUnit, month: jan, findings: []string{"sensor_wrong_unit/power"}, shows: runs},
		{trouble: rig.RegisterDisagrees, month: jan, findings: []string{"meter_disagreement"}, shows: runs, plant: everything},
		{trouble: rig.NeedlessPump, month: jul, findings: []string{"pump_idle"}, shows: runs, long: true},
	}...)
}

// everything is a plant that publishes all it has.
func everything(seed uint64) rig.Plant {
	p := rig.Random(seed)
	p.Metering.Quantities = nil
	return p
}

// runs is when the compressor first ran after the onset.
func runs(p *played, onset time.Time) time.Time {
	for _, r := range p.truth.Runs {
		if r.To.After(onset) {
			if r.From.Before(onset) {
				return onset
			}
			return r.From
		}
	}
	return time.Time{}
}

// cycles is when the first of three heating runs under 15 minutes began that came
// within two hours.
func cycles(p *played, onset time.Time) time.Time {
	var short []time.Time
	for _, r := range p.truth.Runs {
		if r.Kind != rig.HeatingRun || r.Open || r.From.Before(onset) {
			continue
		}
		if r.To.Sub(r.From) >= 15*time.Minute {
			short = nil
			continue
		}
		if short = append(short, r.From); len(short) >= 3 && r.To.Sub(short[len(short)-3]) < 2*time.Hour {
			return short[len(short)-3]
		}
	}
	return time.Time{}
}

// defrosts is when the first of at least four of a kind began after the onset.
func defrosts(so func(rig.DefrostRun) bool) func(*played, time.Time) time.Time {
	return func(p *played, onset time.Time) time.Time {
		var found []time.Time
		for _, d := range p.truth.Defrosts {
			if d.From.After(onset) && so(d) {
				found = append(found, d.From)
			}
		}
		if len(found) < 4 {
			return time.Time{}
		}
		return found[0]
	}
}

// TestEveryTroubleIsSoughtOrSaidToBeUnknowable: nothing that the rig can do is
// left out in silence.
func TestEveryTroubleIsSoughtOrSaidToBeUnknowable(t *testing.T) {
	known := map[rig.Kind]bool{}
	for kind := range unknowable {
		known[kind] = true
	}
	for _, s := range soughtTroubles() {
		known[s.trouble] = true
	}
	for _, k := range rig.Kinds() {
		assert.True(t, known[k.Kind], "no rule is said to find %s", k.Kind)
	}
}

// told is a finding with when it was told.
type told struct {
	watch.Finding
	at time.Time
}

// watchPlant looks at a plant for its days at a grid of times and returns all that
// was ever told, the withdrawn too.
func watchPlant(t testing.TB, p *played, at []time.Time) []told {
	t.Helper()
	st, memory, record := newShelf(p.columns), &job.Memory{}, p.plant.Record()
	when := map[string]time.Time{}
	for _, now := range at {
		watched, err := job.Watch(t.Context(), st, record, now, memory)
		require.NoError(t, err)
		for _, f := range watched.Changed {
			if id := job.FindingID(f.Kind, f.Since); when[id].IsZero() {
				when[id] = now
			}
		}
	}
	var all []told
	for _, kept := range st.findings {
		f, err := job.ReadFinding(kept)
		require.NoError(t, err)
		all = append(all, told{f, when[job.FindingID(f.Kind, f.Since)]})
	}
	return all
}

// grid looks often after a moment, and seldom elsewhere.
func grid(w job.Window, moment time.Time, seldom time.Duration) []time.Time {
	var at []time.Time
	for now := w.From.Add(10 * time.Minute); !now.After(w.To); {
		at = append(at, now)
		step := seldom
		if next := now.Add(step); !moment.IsZero() && next.After(moment) {
			switch since := now.Sub(moment); {
			case since < 0:
				step = moment.Sub(now)
			case since < 6*time.Hour:
				step = 10 * time.Minute
			case since < 48*time.Hour:
				step = min(seldom, time.Hour)
			}
		}
		now = now.Add(max(step, time.Minute))
	}
	return at
}

// outcome is what came of one plant.
type outcome struct {
	shown, found bool
	delay        time.Duration
	early, also  []told // before the onset; beside what was sought
}

// span is how long plants with a trouble are played, and when it begins: four weeks,
// or in the ordinary run 16 days.
func span() (days int, onset time.Duration) {
	if os.Getenv("COLDWEEK_SEEDS") == "" {
		return 16, 6 * 24 * time.Hour
	}
	return healthyDays, 12 * 24 * time.Hour
}

// healthyDays are how long plants without trouble are played.
const healthyDays = 28

// seek plays a plant with a trouble and says whether and when it was found.
func seek(t *testing.T, s *sought, seed uint64, seldom time.Duration) outcome {
	p := rig.Random(seed)
	if s.plant != nil {
		p = s.plant(seed)
	}
	from := time.Date(2026, s.month, 2, 0, 0, 0, 0, time.UTC)
	days, onsetAfter := span()
	onset := from.Add(cmp.Or(s.after, onsetAfter) + time.Duration(seed*7%24)*time.Hour)
	p.Troubles = []rig.Trouble{{Kind: s.trouble, At: onset, Size: s.size}}
	pl := play(t, p, from, days)
	began := s.shows(&pl, onset)
	if first := s.shows(&pl, pl.window.From); s.sound && first.Before(onset) {
		return outcome{} // it does so without the trouble
	}
	if began.IsZero() || pl.window.To.Sub(began) < 5*24*time.Hour {
		return outcome{}
	}
	o := outcome{shown: true}
	for _, f := range watchPlant(t, &pl, grid(pl.window, began, seldom)) {
		isSought := slices.ContainsFunc(s.findings, func(kind string) bool { return strings.HasPrefix(f.Kind, kind) })
		switch {
		case f.at.Before(onset):
			o.early = append(o.early, f)
		case !isSought || f.Withdrawn():
			o.also = append(o.also, f)
			t.Logf("beside %s of %s since %s: %s %s from %s to %s, told %s: %s", s.trouble, p.ID, began.Format(time.DateTime), f.Severity, f.Kind,
				f.Since.Format(time.DateTime), f.Until.Format(time.DateTime), f.at.UTC().Format(time.DateTime), f.Title)
		case !o.found || f.at.Sub(began) < o.delay:
			o.found, o.delay = true, f.at.Sub(began)
		}
	}
	if s.running && o.found {
		o.delay = ran(&pl, began, began.Add(o.delay))
	}
	return o
}

// ran is how long the plant ran for heating between two times.
func ran(p *played, from, to time.Time) time.Duration {
	var sum time.Duration
	for _, r := range p.truth.Runs {
		begin, end := r.From, r.To
		if begin.Before(from) {
			begin = from
		}
		if end.After(to) {
			end = to
		}
		if r.Kind != rig.HotWaterOnlyRun && end.After(begin) {
			sum += end.Sub(begin)
		}
	}
	return sum
}

// parallel runs work for 0 <= i < n on two processors.
func parallel(n int, work func(i int)) {
	var wg sync.WaitGroup
	turns := make(chan struct{}, 2)
	for i := range n {
		wg.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			work(i)
		})
	}
	wg.Wait()
}

// TestTroublesAreToldInTime plays plants with one trouble each for four weeks, and
// says which finding told of it how soon. COLDWEEK_SEEDS=100 plays forty of them or
// one of each trouble,
// and TestHealthyPlantsAreLeftAlone sixty without.
func TestTroublesAreToldInTime(t *testing.T) {
	rows := soughtTroubles()
	each := max(1, (seeds(t, 0)*4/10+len(rows)-1)/len(rows))
	if days, _ := span(); days < healthyDays {
		rows = slices.DeleteFunc(rows, func(s sought) bool { return s.long })
	}
	if only := os.Getenv("COLDWEEK_TROUBLE"); only != "" {
		rows = slices.DeleteFunc(rows, func(s sought) bool { return !strings.Contains(only, string(s.trouble)) })
	}
	outcomes := make([]outcome, len(rows)*each)
	parallel(len(outcomes), func(i int) {
		for seed := uint64(i%each + 1); seed < 100; seed += uint64(each) { // until one that shows it
			if outcomes[i] = seek(t, &rows[i/each], seed, 6*time.Hour); outcomes[i].shown {
				break
			}
		}
	})
	var table strings.Builder
	early := map[string]int{}
	for k, s := range rows {
		judgeRow(t, &table, &s, outcomes[k*each:(k+1)*each], early)
	}
	t.Logf("plants that show it, found, median and longest delay\n%stold before the trouble began: %v", table.String(), early)
}

func judgeRow(t *testing.T, table *strings.Builder, s *sought, outcomes []outcome, early map[string]int) {
	var delays []time.Duration
	shown, also := 0, map[string]int{}
	for _, o := range outcomes {
		if o.shown {
			shown++
		}
		if o.found {
			delays = append(delays, o.delay)
		}
		for _, f := range o.early {
			if f.Severity.AtLeast(watch.Attention) {
				early[f.Kind]++
			}
		}
		for _, f := range o.also {
			also[string(f.Severity)+" "+f.Kind+map[bool]string{true: " (withdrawn)"}[f.Withdrawn()]]++
		}
	}
	slices.Sort(delays)
	name := fmt.Sprintf("%s %g", s.trouble, s.size)
	clock := map[bool]string{true: "of running"}[s.running]
	if len(delays) == 0 {
		fmt.Fprintf(table, "%-24s %2d %2d  not found                      also %v\n", name, shown, 0, also)
	} else {
		fmt.Fprintf(table, "%-24s %2d %2d  %9s %9s %-10s  also %v\n", name, shown, len(delays),
			delays[(len(delays)-1)/2].Round(time.Minute), delays[len(delays)-1].Round(time.Minute), clock, also)
	}
	if shown == 0 || !assert.GreaterOrEqual(t, 10*len(delays), 9*shown, "%s is found", name) || s.within == 0 {
		return
	}
	assert.Less(t, delays[(len(delays)-1)/2], s.within, "median delay of %s", name)
}

// healthyMonths are when healthy plants are played.
var healthyMonths = []time.Month{time.January, time.April, time.October, time.February}

// TestHealthyPlantsAreLeftAlone counts what is told of plants without trouble: of
// attention or worse, at most one in ten site-months, the withdrawn included.
func TestHealthyPlantsAreLeftAlone(t *testing.T) {
	n, seldom := seeds(t, 10)*6/10, 3*time.Hour
	if os.Getenv("COLDWEEK_SEEDS") != "" {
		seldom = time.Hour
	}
	all := make([][]told, n)
	parallel(n, func(i int) {
		p := rig.Random(uint64(1000 + i))
		pl := play(t, p, time.Date(2026, healthyMonths[i%len(healthyMonths)], 2, 0, 0, 0, 0, time.UTC), healthyDays)
		all[i] = watchPlant(t, &pl, grid(pl.window, time.Time{}, seldom))
	})
	counts, disturbing := map[string]int{}, 0
	for i, findings := range all {
		for _, f := range findings {
			counts[string(f.Severity)+" "+f.Kind]++
			if f.Severity.AtLeast(watch.Attention) {
				disturbing++
				t.Logf("plant %d: %s %s since %s until %s, told %s: %s", 1000+i, f.Severity, f.Kind, f.Since.Format(time.DateTime), f.Until.Format(time.DateTime), f.at.Format(time.DateTime), f.Title)
			}
		}
	}
	for _, kind := range slices.Sorted(maps.Keys(counts)) {
		t.Logf("%3d in %d site-months: %s", counts[kind], n, kind)
	}
	assert.LessOrEqual(t, 10*disturbing, n+9, "false findings of attention or worse in %d site-months", n)
}
