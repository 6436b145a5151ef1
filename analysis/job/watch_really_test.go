package job_test

import (
	"slices"
	"strings"
	"time"

	"coldweek/analysis/playtest"
	"coldweek/ingest/rig"
)

// really says whether a plant without trouble has what a finding says, by what
// the rig knows and no reading tells. It must have been so from the finding's
// beginning to when it was told. Of all kinds that are not named here the rig's
// plants have nothing: whatever is told is false.
func really(p *played, f *told) bool {
	switch f.Name() {
	case "short_cycling":
		return shortTruly(p.truth.Runs, f.Since, f.at)
	case "defrost_often":
		return oftenTruly(&p.truth, f.Since, f.at)
	case "defrost_not_clearing":
		return leavesFrost(p.truth.Defrosts, f.Since, f.at)
	case "room_cold":
		return coldTruly(&p.truth, f.Since, f.at)
	}
	return false
}

// shortTruly: half of at least six heating runs last less than 15 minutes, above
// which starts cost nothing to speak of (Uhlmann and Bertsch 2011).
func shortTruly(all []rig.Run, from, to time.Time) bool {
	var minutes []float64
	for _, r := range all {
		if r.Kind == rig.HeatingRun && !r.Open && !r.From.Before(from.Add(-time.Minute)) && r.To.Before(to) {
			minutes = append(minutes, r.To.Sub(r.From).Minutes())
		}
	}
	slices.Sort(minutes)
	return len(minutes) >= 6 && minutes[len(minutes)/2] < 15
}

// oftenTruly: half of at least three defrosts came within 30 minutes of running,
// the best interval in the severest frost (Zhu 2015).
func oftenTruly(truth *rig.Truth, from, to time.Time) bool {
	var minutes []float64
	for i, d := range truth.Defrosts {
		if i > 0 && !truth.Defrosts[i-1].From.Before(from.Add(-time.Minute)) && d.From.Before(to) {
			minutes = append(minutes, playtest.Ran(truth.Runs, truth.Defrosts[i-1].To, d.From).Minutes())
		}
	}
	slices.Sort(minutes)
	return len(minutes) >= 3 && minutes[len(minutes)/2] < 30
}

// leavesFrost: half of at least three defrosts left a fifth of the frost on the coil.
func leavesFrost(all []rig.DefrostRun, from, to time.Time) bool {
	left, n := 0, 0
	for _, d := range all {
		if !d.From.Before(from.Add(-time.Minute)) && d.To.Before(to) {
			n++
			if d.LeftKg > 0.2*d.FrostKg {
				left++
			}
		}
	}
	return n >= 3 && 2*left >= n
}

// coldTruly: on every whole day of at least one the house was on the mean more than
// 1 K below its set temperature.
func coldTruly(truth *rig.Truth, from, to time.Time) bool {
	first, last := from.Format(time.DateOnly), to.Format(time.DateOnly)
	n := 0
	for _, d := range truth.Days {
		if d.Date <= first || d.Date >= last {
			continue
		}
		if d.RoomC > truth.Parameters.RoomSetC-1 {
			return false
		}
		n++
	}
	return n > 0
}

// heatingRuns leaves out those for hot water only.
func heatingRuns(all []rig.Run) []rig.Run {
	return slices.DeleteFunc(slices.Clone(all), func(r rig.Run) bool { return r.Kind == rig.HotWaterOnlyRun })
}

// isSought says whether a finding tells of a trouble.
func (s *sought) isSought(f *told) bool {
	return slices.ContainsFunc(s.findings, func(kind string) bool { return strings.HasPrefix(f.Kind, kind) })
}
