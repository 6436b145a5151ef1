package curve_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/curve"
	"coldweek/analysis/siteday"
)

// ruhnauCOP is the air source curve of Ruhnau, Hirth and Praktiknjo, Sci Data
// 6:189 (2019), by the lift from air to flow, without their field factor.
func ruhnauCOP(liftK float64) float64 { return 6.08 - 0.0941*liftK + 0.000464*liftK*liftK }

// machine are hours of settled heating by a heating curve, of a machine whose
// COP is given; its flow wanders about the curve by wanderK.
func machine(cop func(flowC, outdoorC float64) float64, wanderK, noise float64) *siteday.Sums {
	random := rand.New(rand.NewPCG(11, 12))
	s := &siteday.Sums{}
	for i := range 24 * 14 {
		outdoorC := 2 + 6*math.Sin(float64(i)/24/5*2*math.Pi)
		flowC := 38 - 0.7*outdoorC + wanderK*random.NormFloat64()
		heatJ := 3600 * 200 * (17 - outdoorC)
		mean := func(v float64) siteday.Mean { return siteday.Mean{ValueS: 3600 * v, S: 3600} }
		s.Hours = append(s.Hours, siteday.Hour{
			From: time.Date(2026, 1, 1, i, 0, 0, 0, time.UTC), S: 3600,
			Steady: siteday.SteadyHour{S: 3600, CoveredS: 3600, HeatJ: heatJ, Outdoor: mean(outdoorC), Flow: mean(flowC),
				ElectricityJ: heatJ / cop(flowC, outdoorC) * (1 + noise*random.NormFloat64())},
		})
	}
	return s
}

// truePct is what 2 K less bring by the machine's own COP.
func truePct(s *siteday.Sums, cop func(flowC, outdoorC float64) float64) float64 {
	before, after := 0.0, 0.0
	for _, h := range s.Hours {
		flowC, _ := h.Steady.Flow.Of()
		outdoorC, _ := h.Steady.Outdoor.Of()
		before += h.Steady.HeatJ / cop(flowC, outdoorC)
		after += h.Steady.HeatJ / cop(flowC-2, outdoorC)
	}
	return 100 * (before/after - 1)
}

func TestGainAgainstPublishedCurve(t *testing.T) {
	cop := func(flowC, outdoorC float64) float64 { return ruhnauCOP(flowC - outdoorC) }
	for _, noise := range []float64{0, 0.05} {
		s := machine(cop, 1, noise)
		g := curve.GainOf(s, 2)
		require.NotNil(t, g)
		want := truePct(s, cop)
		assert.InDelta(t, want, g.SPFPct.Value, 0.8, "about 3.7 %% for 2 K")
		assert.LessOrEqual(t, g.SPFPct.Low, want)
		assert.GreaterOrEqual(t, g.SPFPct.High, want)
		assert.Less(t, g.SPFPct.High-g.SPFPct.Low, 3.0)
	}
}

// TestGainFromThePlantItself: where flow wanders enough to tell, the plant's own
// hours must be heard: one machine cares for its flow temperature half as much as
// others, one cares for it half as much again.
func TestGainFromThePlantItself(t *testing.T) {
	for _, cares := range []float64{0.5, 1.5} {
		cop := func(flowC, outdoorC float64) float64 {
			return 4 * math.Exp(-0.019*cares*(flowC-35)) * (1 + 0.02*outdoorC)
		}
		s := machine(cop, 3, 0.02)
		g := curve.GainOf(s, 2)
		require.NotNil(t, g)
		require.NotNil(t, g.OwnPct)
		want := truePct(s, cop)
		assert.InDelta(t, want, g.OwnPct.Value, 0.15*want)
		assert.Greater(t, 0.7*math.Abs(3.8-want), math.Abs(g.SPFPct.Value-want), "nearer to the plant than what is usual")
	}
}

func TestGainNotKnown(t *testing.T) {
	assert.Nil(t, curve.GainOf(&siteday.Sums{}, 2))
	cop := func(flowC, outdoorC float64) float64 { return ruhnauCOP(flowC - outdoorC) }
	assert.Nil(t, curve.GainOf(machine(cop, 1, 0), 0))
}
