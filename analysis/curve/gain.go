package curve

import (
	"math"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Gain is what a lower flow temperature is worth in heating.
type Gain struct {
	LowerK float64
	// SPFPct is by how much the SPF of heating rises, in percent of it.
	SPFPct robust.Estimate
	// OwnPct is what the plant's own hours say alone; nil where they do not tell.
	OwnPct *robust.Estimate
	Hours  float64 // that it stands on
}

const (
	// A refrigerant condenses some 5 K above the flow and evaporates some 7 K
	// below the air, so a machine's efficiency goes with Carnot's between those;
	// machines differ by this share of the gain, 95 % (common practice, no
	// source). At 35 and 45 °C flow and 2 °C outdoors that is 1.9 and 1.5 % per K;
	// the curves of Ruhnau et al. (Sci Data 6:189, 2019) have 1.8 and 1.9.
	aboveFlowK, belowAirK = 5, 7
	machinesRatio         = 0.35
	// ownRatio is what hours of one plant mix up, 95 %: when it is cold, flow,
	// load and frost go together (common practice, no source).
	ownRatio = 0.3
)

// gainHours are hours of settled heating with heat and electricity known.
type gainHours struct {
	flowC, outdoorC []float64
	heatShare       []float64 // by the mean
	pct             []float64 // electricity in percent of the heat
	hours           float64
}

// GainOf says what lowering the flow by so many K would bring, from the plant's
// own efficiency at its flow and outdoor temperatures and what machines are like
// otherwise. It promises for the weather of the span only, and nil where too
// little is known.
func GainOf(s *siteday.Sums, lowerK float64) *Gain {
	h := gainHoursOf(s)
	if len(h.pct) < fewestHours || lowerK <= 0 {
		return nil
	}
	usual := h.gain(func(i int, lowerK float64) float64 {
		return 1 / efficiency.CarnotCOP(h.outdoorC[i]-belowAirK, h.flowC[i]-lowerK+aboveFlowK)
	}, lowerK)
	g := &Gain{LowerK: lowerK, Hours: h.hours, SPFPct: around(usual, machinesRatio*usual)}
	if own, ok := h.own(lowerK); ok {
		g.OwnPct = &own
		g.SPFPct = weighed(g.SPFPct, own)
	}
	return g
}

func gainHoursOf(s *siteday.Sums) gainHours {
	var h gainHours
	total := 0.0
	for i := range s.Hours {
		st := &s.Hours[i].Steady
		flowC, ok1 := st.Flow.Of()
		outdoorC, ok2 := st.Outdoor.Of()
		if !ok1 || !ok2 || st.CoveredS < minFlowS || st.HeatJ <= 0 || st.ElectricityJ <= 0 || flowC <= outdoorC+5 {
			continue
		}
		h.flowC, h.outdoorC = append(h.flowC, flowC), append(h.outdoorC, outdoorC)
		h.heatShare = append(h.heatShare, st.HeatJ/st.CoveredS)
		h.pct = append(h.pct, 100*st.ElectricityJ/st.HeatJ)
		h.hours += st.CoveredS / 3600
		total += st.HeatJ / st.CoveredS
	}
	for i := range h.heatShare {
		h.heatShare[i] *= float64(len(h.heatShare)) / total
	}
	return h
}

// gain is the rise of the SPF in percent when all flows are lower, for an
// efficiency given as electricity by heat.
func (h *gainHours) gain(work func(i int, lowerK float64) float64, lowerK float64) float64 {
	before, after := 0.0, 0.0
	for i, w := range h.heatShare {
		before += w * work(i, 0)
		after += w * work(i, lowerK)
	}
	return 100 * (before/after - 1)
}

// own fits electricity by heat as a line of Carnot's at flow and outdoor
// temperature and of the load, which hides in both.
func (h *gainHours) own(lowerK float64) (robust.Estimate, bool) {
	n := len(h.pct)
	ideal := make([]float64, n)
	for i := range ideal {
		ideal[i] = h.ideal(i, 0)
	}
	r, ok := regress([][]float64{ideal, h.heatShare}, h.pct, h.heatShare, math.Inf(1))
	if !ok || !r.refine() {
		return robust.Estimate{}, false
	}
	c := r.coefficient
	at := func(slope float64) float64 {
		return h.gain(func(i int, lowerK float64) float64 {
			return c[0] + c[1]*h.ideal(i, 0) + c[2]*h.heatShare[i] + slope*(h.ideal(i, lowerK)-h.ideal(i, 0))
		}, lowerK)
	}
	rho, _ := robust.Autocorrelation(r.residualK)
	half := 1.96 * r.deviation([]float64{0, 1, 0}) * math.Sqrt(float64(n)/robust.EffectiveSize(n, min(rho, 0.95)))
	value := at(c[1])
	return around(value, math.Hypot(at(c[1]+half)-value, ownRatio*value)), value > 0
}

// ideal is the work of an ideal machine by its heat.
func (h *gainHours) ideal(i int, lowerK float64) float64 {
	return 1 / efficiency.CarnotCOP(h.outdoorC[i], h.flowC[i]-lowerK)
}

func around(value, half float64) robust.Estimate {
	return robust.Estimate{Value: value, Low: value - half, High: value + half}
}

// weighed is the mean of two estimates, each by how sure it is.
func weighed(a, b robust.Estimate) robust.Estimate {
	wa, wb := 1/sq(a.High-a.Value), 1/sq(b.High-b.Value)
	return around((wa*a.Value+wb*b.Value)/(wa+wb), math.Sqrt(1/(wa+wb)))
}

func sq(v float64) float64 { return v * v }
