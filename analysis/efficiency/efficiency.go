// Package efficiency says how much heat a plant makes of its electricity: by
// the boundary it is measured at, for rooms and for hot water, at each outdoor
// and flow temperature, against what is possible at all, and against what a
// laboratory found.
//
// A seasonal performance factor (SPF) alone mixes machine and weather. The
// share of Carnot, the work an ideal machine had needed by the electricity this
// one took, has the lift of temperatures taken out: when it falls, the machine
// has changed. It still knows part load, frost and what else hangs on the
// meter, so it compares a plant with itself at equal output, and with others in
// the round only.
//
// Every ratio is one of sums. What is not metered is not guessed: a boundary
// that needs a meter which is not there is not known, and a laboratory's figure
// outside its test points is not known.
//
// Sources: the boundaries are those of SEPEMO-Build (IEE/08/776), in the
// formulae of the UK field trials; test points are EN 14511's. Sums of state are
// siteday's.
package efficiency

import (
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	joulePerKWh = 3.6e6
	// minKnown is the share of the time in which a sub-meter must be known to
	// speak for all of it (common practice, no source).
	minKnown = 0.9
	// minHeatJ of heat make a ratio (common practice, no source).
	minHeatJ = 1 * joulePerKWh
)

// Result is the efficiency over a span. Nil is not known.
type Result struct {
	Measured   Boundary // what the electricity meter stands for
	Boundaries []AtBoundary
	// Space is for heating with the defrosts it takes, HotWater for charging the
	// cylinder, both as metered and without standby.
	Space, HotWater *float64

	ByOutdoor []Row // heating with its defrosts
	ByFlow    []Row // heating and hot water, each run at its flow temperature

	HeatingShare, HotWaterShare *Share
	Laboratory                  *Comparison // nil without test points

	Assumed []string // what was taken for granted, for people
}

// AtBoundary is the SPF at one boundary.
type AtBoundary struct {
	Boundary Boundary
	SPF      float64
}

// Of reads the sums of a span; points are the machine's test points, if any.
func Of(s *siteday.Sums, m Meters, points []Point) *Result {
	r := &Result{Measured: m.Boundary()}
	split := m.split(s)
	for _, b := range []Boundary{H1, H2, H3, H4} {
		if spf, ok := split.at(b); ok {
			r.Boundaries = append(r.Boundaries, AtBoundary{b, spf})
		}
	}
	r.Assumed = split.assumed
	r.Space = ratio(s.HeatJ[operation.Heating]+s.HeatJ[operation.Defrost], s.ElectricityJ[operation.Heating]+s.ElectricityJ[operation.Defrost])
	r.HotWater = ratio(s.HeatJ[operation.HotWater], s.ElectricityJ[operation.HotWater])
	r.ByOutdoor = rows(s.Bins, m, heatingWithDefrosts)
	r.ByFlow = rows(s.FlowBins, m, heatingAndHotWater)
	r.HeatingShare = m.shareOf(s, operation.Heating)
	r.HotWaterShare = m.shareOf(s, operation.HotWater)
	if len(points) > 0 {
		r.Laboratory = NewLaboratory(points).compare(s.Bins, m)
	}
	return r
}

func ratio(heatJ, electricityJ float64) *float64 {
	if heatJ < minHeatJ || electricityJ <= 0 {
		return nil
	}
	r := heatJ / electricityJ
	return &r
}
