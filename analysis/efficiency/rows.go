package efficiency

import (
	"maps"
	"math"
	"slices"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// Row is the efficiency over a range of temperature, FromC <= t < ToC.
type Row struct {
	FromC, ToC float64
	RunHours   float64
	HeatKWh    float64
	SPF        *float64 // as metered, without standby
	Share      *float64 // of Carnot, without defrosts and backup heater
	FlowC      *float64 // mean flow temperature by heat; nil in rows by flow temperature
}

const (
	// mostRows make a table that is read at a glance.
	mostRows = 8
	// minRowS of running make a row (common practice, no source).
	minRowS = 3600
)

// rowWidthsK are tried from the finest on.
var rowWidthsK = []int{2, 3, 5, 10, 20}

// rowSums are what a row is made of.
type rowSums struct {
	runS, heatJ, electricityJ float64
	machine                   work
	flowC                     float64 // NaN: not known
}

func heatingWithDefrosts(outdoorBinC int, b *siteday.Bin, m Meters) rowSums {
	r := rowSums{
		runS:         b.SecondsS[operation.Heating] + b.SecondsS[operation.Defrost],
		heatJ:        b.HeatJ[operation.Heating] + b.HeatJ[operation.Defrost],
		electricityJ: b.ElectricityJ[operation.Heating] + b.ElectricityJ[operation.Defrost],
		machine:      m.machineIn(b, operation.Heating),
	}
	r.flowC = flowOf(float64(outdoorBinC)+0.5, b, operation.Heating)
	return r
}

func heatingAndHotWater(_ int, b *siteday.Bin, m Meters) rowSums {
	return rowSums{
		runS:         b.SecondsS[operation.Heating] + b.SecondsS[operation.HotWater],
		heatJ:        b.HeatJ[operation.Heating] + b.HeatJ[operation.HotWater],
		electricityJ: b.ElectricityJ[operation.Heating] + b.ElectricityJ[operation.HotWater],
		machine:      m.machineIn(b, operation.Heating).plus(m.machineIn(b, operation.HotWater)),
		flowC:        math.NaN(),
	}
}

func (m Meters) machineIn(b *siteday.Bin, state operation.State) work {
	return m.machine(b.IdealJ[state], b.IdealCoveredJ[state], b.HeatJ[state], b.BackupJ[state])
}

// flowOf is the flow temperature, weighted with heat, at one outdoor
// temperature: that at which Carnot's work for the heat is what was summed,
// work = heat·(flow - outdoor)/flow in kelvin. NaN where not known.
func flowOf(outdoorC float64, b *siteday.Bin, state operation.State) float64 {
	heatJ, idealJ := b.HeatJ[state], b.IdealJ[state]
	if heatJ <= 0 || b.IdealCoveredJ[state] < minKnown*b.ElectricityJ[state] {
		return math.NaN()
	}
	x := idealJ / heatJ
	return (outdoorC + kelvinAt0C*x) / (1 - x)
}

// rows groups bins of 1 K into ranges of a width that makes a short table.
func rows(bins map[int]siteday.Bin, m Meters, of func(binC int, b *siteday.Bin, m Meters) rowSums) []Row {
	sums := map[int]rowSums{}
	for binC, b := range bins {
		if r := of(binC, &b, m); r.runS > 0 {
			sums[binC] = r
		}
	}
	if len(sums) == 0 {
		return nil
	}
	lowC, highC := slices.Min(slices.Collect(maps.Keys(sums))), slices.Max(slices.Collect(maps.Keys(sums)))
	width := rowWidthsK[len(rowWidthsK)-1]
	for _, w := range rowWidthsK {
		if floorTo(highC, w)-floorTo(lowC, w) < mostRows*w {
			width = w
			break
		}
	}
	var found []Row
	for from := floorTo(lowC, width); from <= highC; from += width {
		if r, ok := rowOf(sums, from, width); ok {
			found = append(found, r)
		}
	}
	return found
}

// floorTo is the multiple of a width at or below a whole number.
func floorTo(value, width int) int {
	return int(math.Floor(float64(value)/float64(width))) * width
}

func rowOf(sums map[int]rowSums, fromC, width int) (Row, bool) {
	var all rowSums
	flowKJ, flowJ := 0.0, 0.0
	for binC := fromC; binC < fromC+width; binC++ {
		s, ok := sums[binC]
		if !ok {
			continue
		}
		all.runS += s.runS
		all.heatJ += s.heatJ
		all.electricityJ += s.electricityJ
		all.machine = all.machine.plus(s.machine)
		if !math.IsNaN(s.flowC) {
			flowKJ += s.flowC * s.machine.heatJ
			flowJ += s.machine.heatJ
		}
	}
	r := Row{
		FromC: float64(fromC), ToC: float64(fromC + width), RunHours: all.runS / 3600, HeatKWh: all.heatJ / joulePerKWh,
		SPF: ratio(all.heatJ, all.electricityJ), Share: all.machine.share(),
	}
	if flowJ > 0 {
		flowC := flowKJ / flowJ
		r.FlowC = &flowC
	}
	return r, all.runS >= minRowS && r.SPF != nil
}
