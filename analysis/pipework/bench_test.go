package pipework_test

import (
	"fmt"
	"testing"

	"coldweek/analysis/pipework"
)

// thirtyLegs is primaries, four branches and five circuits at the end of each,
// with a few legs more.
func thirtyLegs() *pipework.System {
	pipe := func(boreM float64) pipework.Pipe { return pipework.Pipe{BoreM: boreM, RoughnessM: drawnTubeM} }
	s := &pipework.System{Liquid: warm, Limits: pipework.DefaultLimits,
		Pump: pipework.PumpCurve{{FlowLPH: 400, HeadKPa: 62}, {FlowLPH: 1500, HeadKPa: 36}, {FlowLPH: 4000, HeadKPa: 0}}}
	add := func(parent int, boreM, lengthM, flowLPH float64) int {
		s.Legs = append(s.Legs, pipework.Leg{Name: fmt.Sprint("leg ", len(s.Legs)), Parent: parent, Pipe: pipe(boreM), LengthM: lengthM, Zeta: 6,
			Parallel: 1, LoadKW: flowLPH / 170, FlowLPH: flowLPH, DifferenceK: 5})
		return len(s.Legs) - 1
	}
	primaries := add(pipework.AtHeatPump, 0.0326, 20, 0)
	for range 4 {
		branch := add(primaries, 0.0262, 12, 0)
		for range 5 {
			add(branch, 0.0136, 14, 80)
		}
	}
	for len(s.Legs) < 30 {
		add(primaries, 0.0136, 25, 60)
	}
	return s
}

func BenchmarkDesignOf30Legs(b *testing.B) {
	s := thirtyLegs()
	for b.Loop() {
		s.Design()
	}
}

func BenchmarkDivideOf30Legs(b *testing.B) {
	s := thirtyLegs()
	rounds := 0
	for b.Loop() {
		d, err := s.Divide()
		if err != nil {
			b.Fatal(err)
		}
		rounds = d.Rounds
	}
	b.ReportMetric(float64(rounds), "rounds")
}

func BenchmarkColebrook(b *testing.B) {
	for b.Loop() {
		pipework.Colebrook(2e4, 1e-4)
	}
}
