package season

import "slices"

// Declared is what a data sheet declares of a machine per EN 14825.
type Declared struct {
	DesignHeatW float64 // Pdesignh
	Points      []DeclaredPoint
	// Degradation is Cc, what of the output remains of a water-based unit that
	// cycles at no output; 0.9 where it was not tested.
	Degradation float64
	// Power in the modes without heat.
	ThermostatOffW, StandbyW, CrankcaseW, OffW float64
}

// DeclaredPoint is a test point: greatest output and COP at an outdoor temperature.
type DeclaredPoint struct{ OutdoorC, CapacityW, COP float64 }

// SCOP is a machine's seasonal performance in one climate. Efficiency is the
// primary energy efficiency of space heating, a ratio.
type SCOP struct {
	On, Net, SCOP        float64
	Efficiency           float64
	HeatJ, ElectricityJ  float64 // with the modes without heat
	ActiveHeatJ, ActiveJ float64 // SCOPon's
}

// The regulation's conversion coefficient of electricity, and what temperature
// control takes off the efficiency (the latter from memory).
const (
	primaryPerElectricity = 2.5
	controlEfficiency     = 0.03
)

// SCOP goes through the climate's bins with the standard's house.
func (d Declared) SCOP(c Climate) (SCOP, []Row) {
	total, rows := c.Sum(d.Plant(c))
	s := SCOP{On: total.SPF(), Net: total.NetSPF(), ActiveHeatJ: total.HeatJ, ActiveJ: total.ElectricityJ}
	s.HeatJ = d.DesignHeatW * c.FullLoadHours * secondsPerHour
	offWH := c.Off.ThermostatOffHours*d.ThermostatOffW + c.Off.StandbyHours*d.StandbyW + c.Off.CrankcaseHours*d.CrankcaseW + c.Off.OffHours*d.OffW
	s.ElectricityJ = s.HeatJ/s.On + offWH*secondsPerHour
	s.SCOP = s.HeatJ / s.ElectricityJ
	s.Efficiency = s.SCOP/primaryPerElectricity - controlEfficiency
	return s, rows
}

// Plant is the machine in the standard's house: between test points output and
// COP are straight lines, drawn on beyond them as the standard does.
func (d Declared) Plant(c Climate) Plant {
	needW := func(outdoorC float64) float64 { return d.DesignHeatW * c.PartLoadRatio(outdoorC) }
	points := slices.SortedFunc(slices.Values(d.Points), func(a, b DeclaredPoint) int {
		if a.OutdoorC < b.OutdoorC {
			return -1
		}
		return 1
	})
	var outdoorC, capacityW, cops []float64
	for _, p := range points {
		outdoorC = append(outdoorC, p.OutdoorC)
		capacityW = append(capacityW, p.CapacityW)
		cops = append(cops, d.atPartLoad(p, needW(p.OutdoorC)))
	}
	return Plant{
		NeedW:     needW,
		CapacityW: func(atC float64) float64 { return drawnOn(outdoorC, capacityW, atC) },
		COP:       func(atC float64) float64 { return drawnOn(outdoorC, cops, atC) },
	}
}

// atPartLoad is the COP of a machine that must cycle to give no more than the
// need: COP · CR/(Cc·CR + 1 - Cc).
func (d Declared) atPartLoad(p DeclaredPoint, needW float64) float64 {
	ratio := min(1, needW/p.CapacityW)
	return p.COP * ratio / (d.Degradation*ratio + 1 - d.Degradation)
}

// drawnOn reads straight lines between points by ascending x, the outer two
// drawn on. There must be two points.
func drawnOn(x, y []float64, at float64) float64 {
	i := 1
	for i < len(x)-1 && at > x[i] {
		i++
	}
	return y[i-1] + (y[i]-y[i-1])*(at-x[i-1])/(x[i]-x[i-1])
}
