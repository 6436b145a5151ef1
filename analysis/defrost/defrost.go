// Package defrost says what defrosts cost, in which air they come and what
// starts them, from the sums of site days.
//
// The cost of a defrost is measured against the same run around it: the
// settled minutes before, and those after the plant has recovered. Over the
// defrost and its recovery it is the electricity used, less what the heat
// delivered in that time would have taken at the efficiency of those minutes;
// and the heat missed is what their output would have given, less what came.
// The recovery belongs to the cost of a defrost and not to its length. What
// frost on the coil costs before a defrost begins is in neither.
//
// Errors of the heat meter that scale all heat alike drop out of the cost.
// Episodes without enough settled minutes have no cost; totals take them for
// average and say on how many they rest.
package defrost

import (
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// Report is what a span of days says of its defrosts. Nil is not known.
type Report struct {
	Episodes           []Episode
	Length             time.Duration // of all together
	RunS               float64       // the compressor ran, defrosts included
	ShareOfRunTime     *float64
	ShareOfElectricity *float64
	DrawnJ             float64
	Cost               *Total
	ByOutdoor          []Band // 2 K each, ascending, those with running time
	ByHumidity         []Band // 10 % each, of air in which frost forms; none without the channel
	Pattern            Pattern
}

// Episode is one defrost.
type Episode struct {
	siteday.Defrost
	RunBeforeS *float64 // the compressor ran since the defrost before
	Cost       *Cost
}

// Length is how long it lasted, its recovery not counted.
func (e Episode) Length() time.Duration { return e.To.Sub(e.From) }

// Figures are those of defrosts that are known: running times between them and lengths
// in minutes, outdoor temperatures.
func Figures(all []Episode) (intervals, lengths, outdoorC []float64) {
	for i := range all {
		e := &all[i]
		lengths = append(lengths, e.Length().Minutes())
		if e.RunBeforeS != nil {
			intervals = append(intervals, *e.RunBeforeS/60)
		}
		if e.OutdoorC != nil {
			outdoorC = append(outdoorC, *e.OutdoorC)
		}
	}
	return intervals, lengths, outdoorC
}

// Cost is what one defrost took beyond what its heat was worth.
type Cost struct {
	ElectricityJ float64
	MissedHeatJ  float64
	RecoveryS    float64
	Undisturbed  float64 // heat by electricity around it
	BothSides    bool    // known before and after it
}

// Summarise makes a report of merged site days.
func Summarise(sums *siteday.Sums) Report {
	r := Report{RunS: sums.RunS(), DrawnJ: sums.DrawnJ}
	for i, d := range sums.Defrosts {
		episode := Episode{Defrost: d, Cost: costOf(&d)}
		if i > 0 {
			episode.RunBeforeS = runBetween(sums, sums.Defrosts[i-1].To, d.From)
		}
		r.Episodes = append(r.Episodes, episode)
		r.Length += episode.Length()
	}
	if r.RunS > 0 {
		share := r.Length.Seconds() / r.RunS
		r.ShareOfRunTime = &share
	}
	if totalJ := sums.ElectricityJ.Total(); totalJ > 0 {
		share := sums.ElectricityJ[operation.Defrost] / totalJ
		r.ShareOfElectricity = &share
	}
	r.Cost = totalOf(r.Episodes, sums)
	r.ByOutdoor, r.ByHumidity = byOutdoor(r.Episodes, sums), byHumidity(r.Episodes, sums)
	r.Pattern = patternOf(r.Episodes)
	return r
}

// runBetween is how long the compressor ran between two times, nil when a gap
// lies between.
func runBetween(sums *siteday.Sums, from, to time.Time) *float64 {
	if sums.GapWithin(from, to) {
		return nil
	}
	ranS := 0.0
	first, _ := slices.BinarySearchFunc(sums.Runs, from, func(run siteday.Run, at time.Time) int { return run.To.Compare(at) })
	for _, run := range sums.Runs[first:] {
		if !run.From.Before(to) {
			break
		}
		ranS += max(0, siteday.Earlier(run.To, to).Sub(siteday.Later(run.From, from)).Seconds())
	}
	return &ranS
}
