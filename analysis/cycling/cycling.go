// Package cycling says how often a plant starts, how long it runs and rests,
// and, where its heating runs are short, why, from the sums of site days.
//
// A heating run ends because the water got warm, because the room wanted no
// more, or because hot water came between. Of runs ended by warm water the
// length follows from a balance,
//
//	t = C·swing / (output - load)
//
// with the heat capacity C of the water and what is as warm as it. So each of
// the causes shortens runs by a factor of its own, and the causes are put in
// order of these factors, after the share of the runs they account for. What
// the readings or the record cannot tell is 'not known', never a guess.
package cycling

import (
	"time"

	"coldweek/analysis/siteday"
)

// DefaultShortRun is what counts as a short run where the site does not say
// (common practice, no source).
const DefaultShortRun = 10 * time.Minute

// Plant is what the site record knows. Nil is not known.
type Plant struct {
	ShortRun        time.Duration // runs below are short; DefaultShortRun when 0
	MinimumHeatW    *float64      // lowest output the data sheet names
	DesignHeatLossW *float64
	CommissionedLPH *float64
	MinimumFlowLPH  *float64
	Curve           []CurvePoint // set heating curve, by rising outdoor temperature
	VolumeJPerLK    float64      // heat capacity of a litre; water's when 0
}

// CurvePoint is a point of the heating curve.
type CurvePoint struct{ OutdoorC, FlowC float64 }

// Report is how a plant ran over a span of days. Nil is not known.
type Report struct {
	Starts           int
	RunS             float64 // the compressor ran, defrosts included
	StartsPerRunHour *float64
	Busiest          *Busiest
	ShortRun         time.Duration // the limit
	Short            int           // runs shorter than it, whole ones only
	Runs             Lengths       // whole runs of all kinds
	Heating          Lengths       // whole runs for heating alone
	Pauses           Lengths       // without a gap in them
	ByOutdoor        []Band        // 2 K each, ascending, those with running time
	Verdict          Verdict
	Why              string
	Causes           []Cause // most likely first; nil when runs are long enough
	Examined         int     // heating runs the causes rest on
}

// Busiest is the rolling hour with the most starts.
type Busiest struct {
	From   time.Time // of the first of them
	Starts int
}

// Band is how the plant ran at one outdoor temperature.
type Band struct {
	FromC, ToC float64
	RunS       float64
	Starts     int
	Short      int
	Median     *time.Duration // of whole heating runs
}

// Verdict says whether a plant cycles.
type Verdict string

// The verdicts.
const (
	NotKnown  Verdict = ""
	Calm      Verdict = "calm"
	Frequent  Verdict = "frequent"   // more starts than a modulating plant needs
	Short     Verdict = "short"      // short runs, or more than three starts an hour
	VeryShort Verdict = "very_short" // more than six starts an hour, or runs under six minutes
)

// Summarise makes a report of merged site days.
func Summarise(sums *siteday.Sums, plant Plant) Report {
	if plant.ShortRun == 0 {
		plant.ShortRun = DefaultShortRun
	}
	r := Report{RunS: sums.RunS(), ShortRun: plant.ShortRun, Busiest: busiest(sums.Runs)}
	var heating, all []time.Duration
	barren := 0
	for _, run := range sums.Runs {
		if run.Started {
			r.Starts++
		}
		if !whole(sums, run) {
			continue
		}
		length := run.To.Sub(run.From)
		all = append(all, length)
		if length < plant.ShortRun {
			r.Short++
		}
		if run.Kind() == heatingRun {
			heating = append(heating, length)
			if givesNothing(run) {
				barren++
			}
		}
	}
	if r.RunS > 0 {
		perHour := float64(r.Starts) / (r.RunS / 3600)
		r.StartsPerRunHour = &perHour
	}
	r.Runs, r.Heating, r.Pauses = lengthsOf(all), lengthsOf(heating), lengthsOf(pauses(sums))
	r.ByOutdoor = byOutdoor(sums, plant.ShortRun)
	r.Verdict, r.Why = judge(&r, heating, barren, sums.KnownS())
	if r.Verdict == Frequent || r.Verdict == Short || r.Verdict == VeryShort {
		r.Causes, r.Examined = causes(sums, plant)
	}
	return r
}

// heatingRun is the kind of a run for heating alone.
const heatingRun = "heating"

// givesNothing says of a run of a few minutes that it gave less heat than it
// took electricity: it may be a pump or a controller at work.
func givesNothing(run siteday.Run) bool {
	return run.To.Sub(run.From) < 3*time.Minute && run.Took.S > 0 && run.Took.HeatJ < run.Took.ElectricityJ
}

// whole says whether a run was seen from its start to its stop: one that began
// or ended in a gap was longer than it looks.
func whole(sums *siteday.Sums, run siteday.Run) bool {
	return run.Started && run.Stopped && !sums.GapWithin(run.From, run.From) && !sums.GapWithin(run.To, run.To)
}

// busiest finds the rolling 60 minutes with the most starts, nil without any.
func busiest(runs []siteday.Run) *Busiest {
	var starts []time.Time
	for _, run := range runs {
		if run.Started {
			starts = append(starts, run.From)
		}
	}
	var best *Busiest
	first := 0
	for last, at := range starts {
		for at.Sub(starts[first]) >= time.Hour {
			first++
		}
		if n := last - first + 1; best == nil || n > best.Starts {
			best = &Busiest{From: starts[first], Starts: n}
		}
	}
	return best
}

// pauses are the times between two runs of which all is known.
func pauses(sums *siteday.Sums) []time.Duration {
	var all []time.Duration
	for i := 1; i < len(sums.Runs); i++ {
		before, run := sums.Runs[i-1], sums.Runs[i]
		if before.Stopped && run.Started && !sums.GapWithin(before.To, run.From) {
			all = append(all, run.From.Sub(before.To))
		}
	}
	return all
}
