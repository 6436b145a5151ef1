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

// plant makes hours whose target follows a curve, for analytic truth.
type plant struct {
	flowC     func(outdoorC float64) float64
	dampingH  float64
	roomSay   float64
	noiseK    float64
	wrong     float64 // share of hours with some other temperature
	days      int
	amplitude float64 // of the outdoor temperature about 3 °C
}

func (p plant) sums(seed uint64) *siteday.Sums {
	random := rand.New(rand.NewPCG(seed, 1))
	mean := func(value float64) siteday.Mean { return siteday.Mean{ValueS: 3600 * value, S: 3600} }
	s := &siteday.Sums{}
	const perHour = 60
	var dampedC, outdoorC float64
	for i := range 24 * p.days {
		var meanC, meanDampedC float64
		for minute := range perHour {
			h := float64(i) + float64(minute)/perHour
			outdoorC = 3 + p.amplitude*(0.6*math.Sin(h/24/9*2*math.Pi)+0.4*math.Sin(h/24*2*math.Pi))
			if i == 0 && minute == 0 {
				dampedC = outdoorC
			}
			dampedC += (outdoorC - dampedC) / (1 + perHour*p.dampingH)
			meanC, meanDampedC = meanC+outdoorC/perHour, meanDampedC+dampedC/perHour
		}
		roomC := 20 + 0.4*math.Sin(float64(i)/24*2*math.Pi+1) + 0.1*random.NormFloat64()
		targetC := p.flowC(meanDampedC) + p.roomSay*(20-roomC) + p.noiseK*random.NormFloat64()
		if random.Float64() < p.wrong {
			targetC = 25 + 25*random.Float64()
		}
		s.Hours = append(s.Hours, siteday.Hour{
			From: time.Date(2026, 1, 1, i, 0, 0, 0, time.UTC), S: 3600, RunS: 3600, Outdoor: mean(meanC), Room: mean(roomC),
			Steady: siteday.SteadyHour{S: 3600, Outdoor: mean(meanC), Target: mean(targetC)},
		})
	}
	return s
}

func straight(outdoorC float64) float64 { return 40 - 0.8*outdoorC }

var straightSet = []curve.Point{{OutdoorC: -10, FlowC: 48}, {OutdoorC: 15, FlowC: 28}}

// TestRecoversWhatItWasMadeFrom: a line of 40 °C at 0 °C and -0.8 K per K, with
// every damping, a room that has a say, and a tenth of the hours wrong.
func TestRecoversWhatItWasMadeFrom(t *testing.T) {
	for _, dampingH := range []float64{0, 1, 3, 8, 24} {
		p := plant{flowC: straight, dampingH: dampingH, roomSay: 2, noiseK: 0.3, wrong: 0.1, days: 21, amplitude: 8}
		f := curve.Of(p.sums(7), curve.Known{Set: straightSet, DesignOutdoorC: new(-8.0), RoomSetC: new(20.0)})
		require.Equal(t, curve.Usable, f.Verdict, f.Why)
		assert.InDelta(t, -0.8, f.SlopeKPerK.Value, 0.01, "damping %g h", dampingH)
		assert.InDelta(t, 46.4, f.FlowAtDesignC.Value, 0.15, "damping %g h", dampingH)
		assert.InDelta(t, dampingH, f.DampingH, 0.1+dampingH/3)
		require.NotNil(t, f.RoomSayKPerK)
		assert.InDelta(t, 2, *f.RoomSayKPerK, 0.2)
	}
}

// TestLimitsOfTheController: the curve is clipped at 34 and 43 °C, which the
// record does not say.
func TestLimitsOfTheController(t *testing.T) {
	clipped := func(outdoorC float64) float64 { return min(43, max(34, straight(outdoorC))) }
	p := plant{flowC: clipped, dampingH: 2, noiseK: 0.2, days: 28, amplitude: 10}
	k := curve.Known{Set: straightSet, DesignOutdoorC: new(-8.0), RoomSetC: new(20.0)}
	f := curve.Of(p.sums(8), k)
	require.Equal(t, curve.Usable, f.Verdict, f.Why)
	require.NotNil(t, f.LowC)
	require.NotNil(t, f.HighC)
	assert.InDelta(t, 34, *f.LowC, 0.4)
	assert.InDelta(t, 43, *f.HighC, 0.4)
	assert.InDelta(t, -0.8, f.SlopeKPerK.Value, 0.05)
	assert.InDelta(t, 43, f.FlowAtDesignC.Value, 0.4, "the limit holds at design")

	k.MinimumFlowC, k.MaximumFlowC = new(34.0), new(43.0)
	f = curve.Of(p.sums(8), k)
	assert.InDelta(t, -0.8, f.SlopeKPerK.Value, 0.05, "stated limits are left out from the start")

	p.flowC = straight
	f = curve.Of(p.sums(9), curve.Known{RoomSetC: new(20.0)})
	assert.Nil(t, f.LowC, "there is no limit")
	assert.Nil(t, f.HighC, "there is no limit")
}

func TestNoCurve(t *testing.T) {
	refused := func(verdict curve.Verdict, says string, p plant) {
		t.Helper()
		f := curve.Of(p.sums(3), curve.Known{Set: straightSet, DesignOutdoorC: new(-8.0)})
		assert.Equal(t, verdict, f.Verdict)
		assert.Contains(t, f.Why, says)
	}
	refused(curve.NoCurve, "does not follow the weather: it stays at 45", plant{flowC: func(float64) float64 { return 45 }, noiseK: 0.5, days: 14, amplitude: 6})
	refused(curve.NoCurve, "rises with", plant{flowC: func(c float64) float64 { return 35 + 0.5*c }, noiseK: 0.5, days: 14, amplitude: 6})
	refused(curve.NoCurve, "scatters", plant{flowC: straight, noiseK: 7, days: 14, amplitude: 6})
	refused(curve.NotKnown, "moved by", plant{flowC: straight, days: 14, amplitude: 1})
	refused(curve.NotKnown, "it takes 24", plant{flowC: straight, days: 0})
}

// TestIntervalsHoldTheTruth draws lines without a set curve to go by: the 95 %
// interval at design, 3 K colder than anything seen, must hold in most draws,
// and must say something.
func TestIntervalsHoldTheTruth(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	held, n := 0, 100
	for i := range n {
		slope, levelC := 0.4+0.8*random.Float64(), 32+8*random.Float64()
		p := plant{flowC: func(c float64) float64 { return levelC - slope*c }, dampingH: 2, noiseK: 0.6, days: 14, amplitude: 6}
		f := curve.Of(p.sums(uint64(i)), curve.Known{DesignOutdoorC: new(-6.0), RoomSetC: new(20.0)})
		require.Equal(t, curve.Usable, f.Verdict, f.Why)
		if e := f.FlowAtDesignC; e.Low <= levelC+6*slope && levelC+6*slope <= e.High {
			held++
		}
		assert.Less(t, f.FlowAtDesignC.High-f.FlowAtDesignC.Low, 3.0)
	}
	assert.GreaterOrEqual(t, held, 95)
}

func BenchmarkOf(b *testing.B) {
	s := plant{flowC: straight, dampingH: 2, roomSay: 1, noiseK: 0.3, days: 28, amplitude: 8}.sums(1)
	k := curve.Known{Set: straightSet, DesignOutdoorC: new(-8.0), RoomSetC: new(20.0)}
	for b.Loop() {
		curve.Of(s, k)
	}
}
