package sensor_test

import (
	"cmp"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/fluid"
	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// What a job reads beyond a day on both sides.
const marginBefore, marginAfter = 6 * time.Hour, 3 * time.Hour

// long says whether tests of minutes are wanted.
func long() bool { return os.Getenv("COLDWEEK_ALL") == "1" }

// seenDay is one local day of a plant with its context, as a job would see it.
type seenDay struct {
	n        int
	from, to time.Time
	trace    *trace.Trace
	op       *operation.Operation
}

func (d seenDay) sum() siteday.Day {
	return siteday.Sum(d.trace, d.op, d.from.Format(time.DateOnly), d.from, d.to)
}

// replay runs a plant and shows it day by day, with its context around it.
func replay(t testing.TB, plant rig.Plant, from time.Time, days int, see func(seenDay)) {
	t.Helper()
	zone, err := time.LoadLocation(plant.TimeZone)
	require.NoError(t, err)
	begin := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
	r, err := rig.New(plant, begin.Add(-marginBefore))
	require.NoError(t, err)
	kept := shelf{}
	for n := range days {
		d := seenDay{n: n, from: begin.AddDate(0, 0, n), to: begin.AddDate(0, 0, n+1)}
		low, high := d.from.Add(-marginBefore), d.to.Add(marginAfter)
		r.Advance(high, kept.put)
		d.trace = trace.Build(kept.columns(low), low, high, options(plant, d.from, d.to))
		d.op = operation.Detect(d.trace)
		see(d)
	}
}

func options(plant rig.Plant, marks ...time.Time) trace.Options {
	opt := trace.Options{Marks: marks, MaxGap: map[ingest.Channel]time.Duration{}}
	if plant.Metering.FlowSensorHot {
		opt.Meter = fluid.MeterInFlow
	}
	for ch, source := range plant.Record().Channels {
		if source.MaxGapS != nil {
			opt.MaxGap[ch] = time.Duration(*source.MaxGapS * float64(time.Second))
		}
	}
	return opt
}

// known is what a plant's record says.
func known(p rig.Plant) sensor.Known {
	r := p.Record()
	k := sensor.Known{
		FlowLPH: *r.Commissioned.FlowRateLPH, MinimumFlowLPH: *r.HeatPump.MinimumFlowLPH, RatedHeatW: 1000 * *r.HeatPump.RatedHeatKW,
		Place: &sensor.Place{LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg},
	}
	for _, s := range p.HotWater.Schedule {
		k.HotWater = append(k.HotWater, sensor.Hours{FromH: s.FromH, ToH: s.ToH})
	}
	return k
}

// shelf keeps readings as a store does: what is no reading is refused, a later
// value of one time replaces the earlier.
type shelf map[ingest.Channel]*ingest.Column

func (s shelf) put(r ingest.Reading) {
	if r.Channel.Quantity().CheckValue(r.Value) != nil {
		return
	}
	c := s[r.Channel]
	if c == nil {
		c = &ingest.Column{Channel: r.Channel}
		s[r.Channel] = c
	}
	ms := r.Time.UnixMilli()
	if n := len(c.UnixMS); n == 0 || ms > c.UnixMS[n-1] {
		c.UnixMS, c.Value = append(c.UnixMS, ms), append(c.Value, r.Value)
		return
	}
	at, there := slices.BinarySearch(c.UnixMS, ms)
	if there {
		c.Value[at] = r.Value
		return
	}
	c.UnixMS, c.Value = slices.Insert(c.UnixMS, at, ms), slices.Insert(c.Value, at, r.Value)
}

// columns forgets what lies before and hands out the rest.
func (s shelf) columns(since time.Time) []ingest.Column {
	var all []ingest.Column
	for _, c := range s {
		first, _ := slices.BinarySearch(c.UnixMS, since.Add(-time.Hour).UnixMilli())
		c.UnixMS, c.Value = c.UnixMS[first:], c.Value[first:]
		all = append(all, *c)
	}
	slices.SortFunc(all, func(a, b ingest.Column) int { return cmp.Compare(a.Channel, b.Channel) })
	return all
}

// The day around an onset: what came before, and one day after.
const beforeOnset, afterOnset = 9 * time.Hour, 24 * time.Hour

// spoil changes readings from the onset on; false drops one.
type spoil func(r *ingest.Reading) bool

// scene is a plant's readings around an onset.
type scene struct {
	plant   rig.Plant
	low     time.Time
	columns []ingest.Column
}

// around plays a plant from before an onset to a time after it.
func around(t testing.TB, p rig.Plant, onset time.Time, change spoil) scene {
	t.Helper()
	s := scene{plant: p, low: onset.Add(-beforeOnset)}
	r, err := rig.New(p, s.low.Add(-24*time.Hour))
	require.NoError(t, err)
	r.Advance(s.low.Add(-time.Hour), nil)
	kept := shelf{}
	r.Advance(onset.Add(afterOnset), func(r ingest.Reading) {
		if change == nil || r.Time.Before(onset) || change(&r) {
			kept.put(r)
		}
	})
	s.columns = kept.columns(s.low)
	return s
}

// until is what was known at a time.
func (s scene) until(high time.Time) (*trace.Trace, *operation.Operation) {
	columns := make([]ingest.Column, 0, len(s.columns))
	for _, c := range s.columns {
		n, _ := slices.BinarySearch(c.UnixMS, high.UnixMilli())
		columns = append(columns, ingest.Column{Channel: c.Channel, UnixMS: c.UnixMS[:n], Value: c.Value[:n]})
	}
	tr := trace.Build(columns, s.low, high, options(s.plant))
	return tr, operation.Detect(tr)
}

func (s scene) check(high time.Time) []sensor.Suspicion {
	tr, op := s.until(high)
	return sensor.Check(tr, op, known(s.plant))
}
