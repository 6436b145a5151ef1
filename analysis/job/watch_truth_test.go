package job_test

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/playtest"
	"coldweek/analysis/watch"
	"coldweek/ingest/rig"
)

// told is a finding with when it was told.
type told struct {
	watch.Finding
	at time.Time
}

func (f *told) String() string {
	var figures []string
	for _, e := range f.Evidence {
		figures = append(figures, fmt.Sprintf("%s %.*f", e.Name, e.Decimals, e.Value))
	}
	until := "goes on"
	switch {
	case f.Withdrawn():
		until = "withdrawn"
	case f.Ended():
		until = "to " + f.Until.UTC().Format(time.DateTime)
	}
	return fmt.Sprintf("%s %s since %s, told %s, %s: %s (%s)", f.Severity, f.Kind, f.Since.UTC().Format(time.DateTime), f.at.UTC().Format(time.DateTime), until, f.Title, strings.Join(figures, ", "))
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

// grid looks once in a slot after a moment, and seldom elsewhere.
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
				step = watch.SlotLength
			case since < 48*time.Hour:
				step = min(seldom, time.Hour)
			}
		}
		now = now.Add(max(step, time.Minute))
	}
	return at
}

// scale is how much of the table is played: all of it for COLDWEEK_SEEDS=100, a
// dozen plants for fewer days otherwise.
type scale struct {
	healthy, days int
	onset         time.Duration // of troubles, after the start
	seldom        [2]time.Duration
	all           bool
}

func scaleOf(t *testing.T) scale {
	if n := seeds(t, 0); n > 0 {
		return scale{healthy: n * 6 / 10, days: 28, onset: 12 * 24 * time.Hour, seldom: [2]time.Duration{2 * time.Hour, 4 * time.Hour}, all: true}
	}
	return scale{healthy: 4, days: 16, onset: 8 * 24 * time.Hour, seldom: [2]time.Duration{6 * time.Hour, 6 * time.Hour}}
}

// healthyMonths are when healthy plants are played.
var healthyMonths = []time.Month{time.January, time.April, time.October, time.February}

// outcome is what came of one plant.
type outcome struct {
	sought       *sought // nil of a healthy plant
	plant        string
	shown, found bool
	delay, ran   time.Duration
	false, truly []told // of attention or worse; all of it before an onset or without one
	also         []told // after the onset, beside what was sought
}

// row is one plant of the table to come.
type row struct {
	sought *sought // nil of a healthy plant
	seed   uint64  // the first to try
}

func (s scale) rows() []row {
	var rows []row
	for i, one := range soughtTroubles() {
		if !s.all && !one.few {
			continue
		}
		plants := max(1, one.plants)
		if !s.all {
			plants = 1
		}
		for k := range plants {
			rows = append(rows, row{&one, uint64(2000 + 100*i + 30*k)})
		}
	}
	for i := range s.healthy {
		rows = append(rows, row{seed: uint64(1000 + i)})
	}
	if only := os.Getenv("COLDWEEK_TROUBLE"); only != "" {
		rows = slices.DeleteFunc(rows, func(r row) bool {
			return r.sought == nil && only != "none" || r.sought != nil && !strings.Contains(only, string(r.sought.trouble))
		})
	}
	return rows
}

// play tries seeds until a plant shows the trouble.
func (r row) play(t *testing.T, s scale) outcome {
	if r.sought == nil {
		return s.leave(t, r.seed)
	}
	for seed := r.seed; seed < r.seed+30; seed++ {
		if o := s.seek(t, r.sought, seed); o.shown {
			return o
		}
	}
	return outcome{sought: r.sought}
}

// leave plays a plant without trouble and says what was told of it falsely.
func (s scale) leave(t *testing.T, seed uint64) outcome {
	pl := play(t, rig.Random(seed), time.Date(2026, healthyMonths[seed%4], 2, 0, 0, 0, 0, time.UTC), s.days)
	o := outcome{plant: pl.plant.ID}
	for _, f := range watchPlant(t, &pl, grid(pl.window, time.Time{}, s.seldom[0])) {
		o.judge(&pl, f)
	}
	return o
}

func (o *outcome) judge(p *played, f told) {
	switch {
	case !f.Severity.AtLeast(watch.Attention):
	case really(p, &f):
		o.truly = append(o.truly, f)
	default:
		o.false = append(o.false, f)
	}
}

// seek plays a plant with a trouble and says whether and when it was found.
func (s scale) seek(t *testing.T, what *sought, seed uint64) outcome {
	p := rig.Random(seed)
	if what.plant != nil {
		p = what.plant(seed)
	}
	from := time.Date(2026, what.month, 2, 0, 0, 0, 0, time.UTC)
	onset := from.Add(cmp.Or(what.after, s.onset) + time.Duration(seed*7%24)*time.Hour)
	p.Troubles = []rig.Trouble{{Kind: what.trouble, At: onset, Size: what.size}}
	pl := play(t, p, from, s.days)
	began := what.shows(&pl, onset)
	if began.IsZero() || pl.window.To.Sub(began) < 5*24*time.Hour || what.sound != nil && !what.sound(&pl, onset) {
		return outcome{}
	}
	o := outcome{sought: what, plant: pl.plant.ID, shown: true}
	for _, f := range watchPlant(t, &pl, grid(pl.window, began, s.seldom[1])) {
		switch {
		case f.at.Before(onset):
			o.judge(&pl, f)
		case !what.isSought(&f) || f.Withdrawn():
			o.also = append(o.also, f)
		case !o.found || f.at.Sub(began) < o.delay:
			o.found, o.delay = true, max(0, f.at.Sub(began)) // some are told before it matters
		}
	}
	o.ran = playtest.Ran(heatingRuns(pl.truth.Runs), began, began.Add(o.delay))
	return o
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

// TestWatchOverPlants plays plants without trouble and with one each, and says in a
// table which were found how soon, and what was told falsely. COLDWEEK_SEEDS=100
// plays sixty and forty for four weeks; COLDWEEK_TROUBLE=low_flow,silent only those
// troubles, none only the plants without.
func TestWatchOverPlants(t *testing.T) {
	s := scaleOf(t)
	rows := s.rows()
	outcomes := make([]outcome, len(rows))
	var done atomic.Int32
	parallel(len(rows), func(i int) {
		outcomes[i] = rows[i].play(t, s)
		t.Logf("%d of %d: %s", done.Add(1), len(rows), outcomes[i].String())
	})
	t.Log("\n" + troubleTable(outcomes) + "\n" + falseTable(outcomes))
	judgeTroubles(t, outcomes)
	healthy, falsely := 0, 0
	for _, o := range outcomes {
		if o.sought == nil {
			healthy++
			falsely += len(o.false)
		}
	}
	// Of few plants, one may be what one in ten is of many.
	assert.LessOrEqual(t, falsely, max(1, healthy/10), "false findings of attention or worse in %d site-months without trouble", healthy)
}

func (o *outcome) String() string {
	switch {
	case o.sought == nil:
		return fmt.Sprintf("%s healthy, %d true, %d false", o.plant, len(o.truly), len(o.false))
	case !o.shown:
		return fmt.Sprintf("%s: no plant shows it", o.sought.name())
	}
	return fmt.Sprintf("%s %s, found %t after %s", o.plant, o.sought.name(), o.found, o.delay)
}

func (s *sought) name() string {
	if s.size == 0 {
		return string(s.trouble)
	}
	return fmt.Sprintf("%s %g", s.trouble, s.size)
}

// enough plants for a median; of fewer any may be a slow one.
const enough = 2

// judgeTroubles holds every row to be found, and in time where that is asked for.
func judgeTroubles(t *testing.T, outcomes []outcome) {
	promised := map[string][]time.Duration{}
	for _, o := range outcomes {
		if o.sought == nil {
			continue
		}
		if !assert.True(t, o.shown, "a plant shows %s", o.sought.name()) || !assert.True(t, o.found, "%s of %s is found", o.sought.name(), o.plant) {
			continue
		}
		if o.sought.within > 0 {
			assert.Less(t, o.delay, o.sought.within, "%s of %s", o.sought.name(), o.plant)
		}
		if p, ok := promises[o.sought.promise]; ok {
			delay := o.delay
			if p.running {
				delay = o.ran
			}
			promised[o.sought.promise] = append(promised[o.sought.promise], delay)
		}
	}
	for name, delays := range promised {
		within := promises[name].within
		if len(delays) < enough {
			within *= 2
		}
		assert.Less(t, medianOf(delays), within, "median delay of %s", name)
	}
}

func medianOf(delays []time.Duration) time.Duration {
	sorted := slices.Sorted(slices.Values(delays))
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}

// troubleTable has a row for each trouble, and one for each promise.
func troubleTable(outcomes []outcome) string {
	var text strings.Builder
	w := tabwriter.NewWriter(&text, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "trouble\tplants\tfound\tmedian of running\tmedian\tlongest\tfalse before\tbeside it, after the onset")
	write := func(name string, so func(*sought) bool) {
		var ran, delays []time.Duration
		plants, early, also := 0, 0, map[string]int{}
		for _, o := range outcomes {
			if o.sought == nil || !so(o.sought) {
				continue
			}
			plants++
			early += len(o.false)
			for _, f := range o.also {
				also[string(f.Severity)+" "+f.Kind+map[bool]string{true: " (withdrawn)"}[f.Withdrawn()]]++
			}
			if o.found {
				ran, delays = append(ran, o.ran), append(delays, o.delay)
			}
		}
		if plants == 0 {
			return
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t", name, plants, len(delays))
		if len(delays) > 0 {
			fmt.Fprintf(w, "%s\t%s\t%s\t", medianOf(ran).Round(time.Minute), medianOf(delays).Round(time.Minute), slices.Max(delays).Round(time.Minute))
		} else {
			fmt.Fprint(w, "\t\t\t")
		}
		fmt.Fprintf(w, "%d\t%s\n", early, strings.TrimPrefix(fmt.Sprint(also), "map"))
	}
	for _, one := range soughtTroubles() {
		write(one.name(), func(s *sought) bool { return s.name() == one.name() })
	}
	for _, name := range slices.Sorted(maps.Keys(promises)) {
		write("promised: "+name, func(s *sought) bool { return s.promise == name })
	}
	w.Flush()
	return text.String()
}

// falseTable lists what was told of attention or worse of plants without trouble,
// and of others before it began.
func falseTable(outcomes []outcome) string {
	var text strings.Builder
	healthy, falsely, early := 0, 0, 0
	write := func(what string, o *outcome, all []told) {
		for i := range all {
			fmt.Fprintf(&text, "%s of %s: %s\n", what, o.plant, &all[i])
		}
	}
	for i := range outcomes {
		o := &outcomes[i]
		if o.sought != nil {
			early += len(o.false)
			write("false before "+o.sought.name(), o, o.false)
			write("true before "+o.sought.name(), o, o.truly)
			continue
		}
		healthy++
		falsely += len(o.false)
		write("false", o, o.false)
		write("true", o, o.truly)
	}
	for i := range outcomes {
		for k := range outcomes[i].also {
			if f := &outcomes[i].also[k]; f.Severity.AtLeast(watch.Attention) {
				fmt.Fprintf(&text, "beside %s of %s: %s\n", outcomes[i].sought.name(), outcomes[i].plant, f)
			}
		}
	}
	fmt.Fprintf(&text, "false of attention or worse: %d in %d site-months without trouble, %d before the onset of others\n", falsely, healthy, early)
	return text.String()
}
