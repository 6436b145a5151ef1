package defrost

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// minReferenceS of settled minutes on a side make a reference; minCovered
	// of a defrost must be known (common practice, no source).
	minReferenceS = 3 * 60
	minCovered    = 0.9
	// A reference that gives less heat than this for its electricity is none:
	// the meters do not belong together, or the plant was in trouble.
	minReferenceCOP = 1.2
)

// costOf measures a defrost against its surroundings, nil when they are not
// known well enough.
func costOf(d *siteday.Defrost) *Cost {
	before, after := reference(d.Before), reference(d.After)
	if before == nil && after == nil || d.OpenAfter || d.Took.S < minCovered*d.To.Sub(d.From).Seconds() {
		return nil
	}
	c := Cost{RecoveryS: d.Recovery.S, BothSides: before != nil && after != nil}
	// The mean of both sides stands for the time between them.
	var perHeat, outputW, sides float64
	for _, side := range []*siteday.Stretch{before, after} {
		if side != nil {
			perHeat += side.ElectricityJ / side.HeatJ
			outputW += side.HeatJ / side.S
			sides++
		}
	}
	perHeat, outputW = perHeat/sides, outputW/sides
	window := d.Took.Plus(d.Recovery)
	c.Undisturbed = 1 / perHeat
	c.ElectricityJ = window.ElectricityJ - window.HeatJ*perHeat
	c.MissedHeatJ = outputW*window.S - window.HeatJ
	return &c
}

func reference(s siteday.Stretch) *siteday.Stretch {
	if s.S < minReferenceS || s.HeatJ < minReferenceCOP*s.ElectricityJ || s.ElectricityJ <= 0 {
		return nil
	}
	return &s
}

// Total is what all defrosts of a span cost together, those of unknown cost
// taken for average.
type Total struct {
	ElectricityJ float64
	MissedHeatJ  float64
	// LowJ and HighJ are the 95 % interval of ElectricityJ from how much the
	// episodes differ; equal to it when there are too few to tell.
	LowJ, HighJ float64
	Known       int // episodes it rests on
	BothSides   int // of them with settled minutes on both sides
	Penalty     *Penalty
}

// Penalty is 1 - Net/Undisturbed: what defrosts take off the efficiency. Net is
// heat by electricity while the compressor ran, defrosts included, and
// Undisturbed what it would have been without them.
type Penalty struct {
	Share, Low, High float64
	Net, Undisturbed float64
}

func totalOf(episodes []Episode, sums *siteday.Sums) *Total {
	var costsJ []float64
	t := Total{}
	for _, e := range episodes {
		if e.Cost != nil {
			costsJ = append(costsJ, e.Cost.ElectricityJ)
			t.MissedHeatJ += e.Cost.MissedHeatJ
			if t.Known++; e.Cost.BothSides {
				t.BothSides++
			}
		}
	}
	if t.Known == 0 {
		return nil
	}
	all := float64(len(episodes))
	meanJ := stat.Mean(costsJ, nil)
	t.ElectricityJ, t.MissedHeatJ = all*meanJ, t.MissedHeatJ/float64(t.Known)*all
	widthJ := 0.0
	if t.Known >= minForInterval {
		quantile := distuv.StudentsT{Sigma: 1, Nu: float64(t.Known - 1)}.Quantile(0.975)
		widthJ = all * quantile * stat.StdDev(costsJ, nil) / math.Sqrt(float64(t.Known))
	}
	t.LowJ, t.HighJ = t.ElectricityJ-widthJ, t.ElectricityJ+widthJ
	t.Penalty = penaltyOf(&t, sums)
	return &t
}

// minForInterval episodes say something of how much they differ.
const minForInterval = 3

func penaltyOf(t *Total, sums *siteday.Sums) *Penalty {
	var ran siteday.Stretch
	for _, state := range []operation.State{operation.Heating, operation.HotWater, operation.Defrost} {
		ran.HeatJ += sums.HeatJ[state]
		ran.ElectricityJ += sums.ElectricityJ[state]
	}
	if ran.ElectricityJ <= t.ElectricityJ || ran.HeatJ <= 0 {
		return nil
	}
	return &Penalty{
		Share: t.ElectricityJ / ran.ElectricityJ, Low: t.LowJ / ran.ElectricityJ, High: t.HighJ / ran.ElectricityJ,
		Net: ran.HeatJ / ran.ElectricityJ, Undisturbed: ran.HeatJ / (ran.ElectricityJ - t.ElectricityJ),
	}
}
