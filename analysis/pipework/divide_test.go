package pipework_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/pipework"
)

// division.csv: the same network solved by another program.
func TestDivisionMatchesTable(t *testing.T) {
	s := &pipework.System{
		Liquid: pipework.Liquid{DensityKgM3: 990.2227, ViscosityPaS: 5.957731e-4},
		Pump:   pipework.PumpCurve{{FlowLPH: 0, HeadKPa: 62}, {FlowLPH: 3000, HeadKPa: 8}},
	}
	rows := readTable(t, "pipework/division.csv")
	for i, r := range rows {
		leg := pipework.Leg{
			Name: r.text("leg"), Pipe: pipework.Pipe{BoreM: r.num("bore_m"), RoughnessM: r.num("roughness_m")},
			LengthM: r.num("length_m"), Zeta: r.num("zeta"), Parallel: int(r.num("parallel")), KvM3H: r.num("kv_m3h"),
		}
		if i == 0 {
			leg.Parent = pipework.AtHeatPump
		}
		s.Legs = append(s.Legs, leg)
	}
	d, err := s.Divide()
	require.NoError(t, err)
	for i, r := range rows {
		assert.InEpsilon(t, r.num("flow_lph"), d.FlowsLPH[i], 1e-8, r.text("leg"))
		assert.InEpsilon(t, r.num("loss_pa"), s.Legs[i].LossAt(d.FlowsLPH[i], s.Liquid).TotalPa(), 1e-8)
	}
	assert.InEpsilon(t, 62-0.018*rows[0].num("flow_lph"), d.HeadKPa, 1e-8)
}

// randomSystem has up to legs legs, each hanging on an earlier one or at the
// heat pump; what ends serves something. Some ends have setters.
func randomSystem(random *rand.Rand, legs int) *pipework.System {
	s := &pipework.System{Liquid: warm, Limits: pipework.DefaultLimits}
	boresM := []float64{0.010, 0.012, 0.0136, 0.016, 0.0202, 0.0262, 0.0326}
	for i := range 1 + random.IntN(legs) {
		s.Legs = append(s.Legs, pipework.Leg{
			Name: fmt.Sprint("leg ", i), Parent: random.IntN(i+1) - 1, Parallel: 1 + random.IntN(3),
			Pipe:    pipework.Pipe{BoreM: boresM[random.IntN(len(boresM))], RoughnessM: 1.5e-6},
			LengthM: 0.5 + 60*random.Float64(), Zeta: 12 * random.Float64(), KvM3H: float64(random.IntN(2)) * (0.5 + 4*random.Float64()),
		})
	}
	topKPa, endLPH := 20+60*random.Float64(), 500+6000*random.Float64()
	s.Pump = pipework.PumpCurve{{FlowLPH: 0.3 * endLPH, HeadKPa: topKPa}, {FlowLPH: 0.7 * endLPH, HeadKPa: 0.8 * topKPa}, {FlowLPH: endLPH, HeadKPa: 0}}
	for i := range s.Legs {
		if leg := &s.Legs[i]; isEnd(s, i) {
			leg.LoadKW, leg.FlowLPH, leg.DifferenceK = 1, 50+400*random.Float64(), 5
			if random.IntN(3) == 0 {
				leg.Setter = &pipework.Setter{KvM3H: 0.6 + 2*random.Float64(), SetLPH: 20 + 400*random.Float64()}
			}
		}
	}
	return s
}

func isEnd(s *pipework.System, leg int) bool {
	for i := range s.Legs {
		if s.Legs[i].Parent == leg {
			return false
		}
	}
	return true
}

// Conservation and equal losses, over trees of all shapes: the flows into a
// split are the flow before it; from pump to pump every way takes the same
// head; a setter holds its flow or stands fully open, and never pushes.
func TestDivisionObeysItsLaws(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	mostRounds := 0
	for n := range 600 {
		s := randomSystem(random, 40)
		if n%4 == 0 { // setters over setters
			for i := range s.Legs {
				if s.Legs[i].Setter == nil && random.IntN(2) == 0 {
					s.Legs[i].Setter = &pipework.Setter{KvM3H: 2, SetLPH: 20 + 900*random.Float64()}
				}
			}
		}
		d, err := s.Divide()
		require.NoError(t, err, "tree %d", n)
		mostRounds = max(mostRounds, d.Rounds)
		checkDivision(t, s, d)
		require.InEpsilon(t, s.Pump.HeadKPa(d.FlowLPH), d.HeadKPa, 1e-7)
		checkDivideFlow(t, s, d)
	}
	t.Logf("at most %d rounds", mostRounds)
}

func checkDivision(t *testing.T, s *pipework.System, d *pipework.Division) {
	t.Helper()
	into := make([]float64, len(s.Legs))
	totalLPH := 0.0
	lossPa := make([]float64, len(s.Legs))
	for i, leg := range s.Legs {
		flowLPH := d.FlowsLPH[i]
		require.Greater(t, flowLPH, 0.0)
		lossPa[i] = s.Legs[i].LossAt(flowLPH, s.Liquid).TotalPa() + d.ThrottlePa[i]
		if leg.Parent == pipework.AtHeatPump {
			totalLPH += flowLPH
		} else {
			into[leg.Parent] += flowLPH
			lossPa[i] += lossPa[leg.Parent]
		}
		if leg.Setter != nil && leg.Setter.SetLPH > 0 {
			limitLPH := leg.Setter.SetLPH * float64(leg.Parallel)
			require.LessOrEqual(t, flowLPH, limitLPH*(1+1e-9))
			require.GreaterOrEqual(t, d.ThrottlePa[i], 0.0)
			if d.ThrottlePa[i] > 0 {
				require.InEpsilon(t, limitLPH, flowLPH, 1e-9)
			}
		} else {
			require.Zero(t, d.ThrottlePa[i])
		}
	}
	for i := range s.Legs {
		if isEnd(s, i) {
			require.InEpsilon(t, 1000*d.HeadKPa, lossPa[i], 1e-7, "the way to %s", s.Legs[i].Name)
		} else {
			require.InEpsilon(t, d.FlowsLPH[i], into[i], 1e-9)
		}
	}
	require.InEpsilon(t, d.FlowLPH, totalLPH, 1e-9)
}

// checkDivideFlow: the flow that the pump drives divides the same when it is
// given, and half of it obeys the same laws.
func checkDivideFlow(t *testing.T, s *pipework.System, d *pipework.Division) {
	t.Helper()
	given, err := s.DivideFlow(d.FlowLPH)
	if err != nil { // all setters hold
		require.ErrorContains(t, err, "the flow setters let through")
		return
	}
	for i := range d.FlowsLPH {
		require.InEpsilon(t, d.FlowsLPH[i], given.FlowsLPH[i], 1e-6)
	}
	require.InEpsilon(t, d.HeadKPa, given.HeadKPa, 1e-6)
	half, err := s.DivideFlow(d.FlowLPH / 2)
	require.NoError(t, err)
	require.InEpsilon(t, d.FlowLPH/2, half.FlowLPH, 1e-9)
	checkDivision(t, s, half)
}

// A valve that closes somewhere never lets more water through the pump, nor
// less through any other way at the same split.
func TestThrottlingOneRaisesTheOthers(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 100 {
		s := randomSystem(random, 20)
		for i := range s.Legs {
			s.Legs[i].Setter = nil
		}
		before, err := s.Divide()
		require.NoError(t, err)
		at := random.IntN(len(s.Legs))
		for !isEnd(s, at) {
			at = random.IntN(len(s.Legs))
		}
		s.Legs[at].Zeta += 50
		after, err := s.Divide()
		require.NoError(t, err)
		assert.Less(t, after.FlowsLPH[at], before.FlowsLPH[at])
		assert.LessOrEqual(t, after.FlowLPH, before.FlowLPH*(1+1e-9))
		for i := range s.Legs {
			if isEnd(s, i) && i != at {
				assert.GreaterOrEqual(t, after.FlowsLPH[i], before.FlowsLPH[i]*(1-1e-9))
			}
		}
	}
}

// Two equal legs share evenly; one of four times the flow at the same loss gets
// four times it (a loss by Kv alone is a pure square).
func TestDivisionBetweenKvs(t *testing.T) {
	leg := func(name string, kvM3H float64) pipework.Leg {
		return pipework.Leg{Name: name, Parent: pipework.AtHeatPump, Pipe: pipework.Pipe{BoreM: 0.02}, KvM3H: kvM3H, Parallel: 1}
	}
	s := &pipework.System{Liquid: warm, Pump: pipework.PumpCurve{{FlowLPH: 0, HeadKPa: 10}, {FlowLPH: 5000, HeadKPa: 10}},
		Legs: []pipework.Leg{leg("a", 1), leg("b", 1), leg("c", 4)}}
	d, err := s.Divide()
	require.NoError(t, err)
	want := 1000 * math.Sqrt(10e3/1e5/(warm.DensityKgM3/1000))
	for i, factor := range []float64{1, 1, 4} {
		assert.InEpsilon(t, factor*want, d.FlowsLPH[i], 1e-9)
	}
}

func TestDivisionThatIsNotKnown(t *testing.T) {
	leg := pipework.Leg{Name: "a", Parent: pipework.AtHeatPump, Pipe: pipework.Pipe{BoreM: 0.02}, LengthM: 10, Parallel: 1, FlowLPH: 100}
	s := &pipework.System{Liquid: warm, Legs: []pipework.Leg{leg}}
	check := func(want string) {
		t.Helper()
		_, err := s.Divide()
		assert.EqualError(t, err, want)
	}
	check("no pump curve is given")
	given, err := s.DivideFlow(250)
	require.NoError(t, err, "a given flow needs no pump")
	assert.InDelta(t, leg.LossAt(250, warm).TotalPa()/1000, given.HeadKPa, 1e-9)
	s.Pump = pipework.PumpCurve{{FlowLPH: 100, HeadKPa: 60}, {FlowLPH: 300, HeadKPa: 50}}
	check("with every valve open more than 300 l/h would flow, where the pump curve ends")
	s.Legs = append(s.Legs, pipework.Leg{Name: "b", Parent: 0, Pipe: leg.Pipe, Parallel: 1, FlowLPH: 100})
	check(`"a" serves something and goes on: give what it serves a leg of its own`)
	s.Legs[0].FlowLPH = 0
	check(`"b" ends without any loss: add what it serves to its fittings`)
	s.Legs = []pipework.Leg{leg}
	s.Legs[0].Setter = &pipework.Setter{KvM3H: 1, SetLPH: 90}
	_, err = s.DivideFlow(100)
	assert.EqualError(t, err, "the flow setters let through 90 l/h at most, and 100 l/h are to flow")
}
