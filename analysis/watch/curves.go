package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/analysis/curve"
	"coldweek/analysis/siteday"
)

// Curve is what some days of heating say of the heating curve.
type Curve struct {
	From, To     time.Time // the days that it stands on lie between
	Fit          *curve.Fit
	Advice       curve.Advice
	GapAtDesignK *float64 // fitted less set, at the design outdoor temperature
	SpareK       *float64 // by how much the coldest hours of the coldest room are above its set temperature
}

const (
	// A curve highK above what the rooms need, and surely above it by sureK, or so far
	// above the one that was set, is high; from muchTooHighK on it deserves attention
	// (common practice, no source).
	highK, sureK, muchTooHighK = 3, 1, 5
	// fixedShare: a flow that moves by no more of what the set curve asks for does not
	// follow it. The curve must ask for leastSpreadK, and the flow be besideK beside it:
	// controllers end their curves above and below (common practice, no source).
	fixedShare, leastSpreadK, besideK = 0.4, 3, 2
	// fewestHours of steady heating, of steadyHourS each at least, tell.
	fewestHours, steadyHourS = 24, 900
	// aboveTargetK the flow is beyond any hysteresis, for aboveOpenS of heating.
	aboveTargetK, aboveBackK = 6, 4
	aboveOpenS, aboveCloseS  = 3 * 3600, 3600
)

const curveCaution = "This is about heating only: leave the hot water temperatures as they are."

// curveHigh tells of a curve that is higher than warm rooms need.
func curveHigh(c *Case) []Finding { return c.byCurves((*Case).tooHigh) }

// byCurves asks each of the last days, so that one day that says otherwise ends
// nothing: the finding begins with the first that says so, and has the last one's
// figures.
func (c *Case) byCurves(ask func(c *Case, k *Curve) (Finding, bool)) []Finding {
	var found []Finding
	for _, k := range c.Curves {
		f, ok := ask(c, k)
		if !ok {
			continue
		}
		if len(found) > 0 {
			f.Since = found[0].Since
		}
		found = []Finding{f}
	}
	return found
}

func (c *Case) tooHigh(k *Curve) (Finding, bool) {
	if k.Fit.Verdict != curve.Usable {
		return Finding{}, false
	}
	f := Finding{
		Kind: "curve_high", Severity: Info, Since: k.From, Caution: curveCaution,
		Causes: []string{"the curve was set with a reserve, or never set for this house", "it was raised to warm one room that gets too little water", "thermostats in the rooms throttle what is too much"},
		Next:   append(slices.Clone(k.Advice.Steps), "see whether one room alone needs the higher curve: balance it instead"),
	}
	switch gap, spare := k.GapAtDesignK, k.SpareK; {
	case k.Advice.Kind == curve.Lower && k.Advice.Lowest != nil && k.Advice.Lowest.MarginK.Value >= highK && k.Advice.Lowest.MarginK.Low >= sureK:
		m := k.Advice.Lowest.MarginK
		f.Title = fmt.Sprintf("The heating curve is %.1f K higher than the rooms need", m.Value)
		f.Evidence = []Figure{{"above_need_k", m.Value, "K", 1}, {"above_need_low_k", m.Low, "K", 1}, {"above_need_high_k", m.High, "K", 1}}
	case gap != nil && *gap >= highK && spare != nil && *spare >= 0:
		f.Title = fmt.Sprintf("The flow runs %.1f K above the curve that was set, and the rooms are warm", *gap)
		f.Evidence = []Figure{{"above_set_k", *gap, "K", 1}}
		f.Causes = append([]string{"the curve was raised after commissioning, or the record is out of date", "a room unit, a timer or a comfort mode shifts it"}, f.Causes[1:]...)
		f.Next = append([]string{"read the curve and its shift in the controller; correct it, or the record"}, f.Next...)
	default:
		return Finding{}, false
	}
	if f.Evidence[0].Value >= muchTooHighK {
		f.Severity = Attention
	}
	if k.SpareK != nil {
		f.Evidence = append(f.Evidence, Figure{"coldest_room_spare_k", *k.SpareK, "K", 1})
	}
	return f, true
}

// curveNotFollowed tells of a flow that stays the same while the set curve asks for
// more and less, or that stays above its own target.
func curveNotFollowed(c *Case) []Finding {
	return oneAfterAnother(append(c.byCurves((*Case).flowFixed), flowAboveTarget(c)...))
}

// curveHour is an hour of steady heating.
type curveHour struct {
	flowC, wantsC float64 // target or flow; what the set curve asks for
}

// curveHours are those between two times.
func (c *Case) curveHours(from, to time.Time) []curveHour {
	var hours []curveHour
	for i := range c.Days {
		if c.Days[i].From.Before(from) || c.Days[i].To.After(to) {
			continue
		}
		for k := range c.Days[i].Sums.Hours {
			h := &c.Days[i].Sums.Hours[k].Steady
			outdoorC, known := h.Outdoor.Of()
			flowC, ok := h.Target.Of()
			if !ok {
				flowC, ok = h.Flow.Of()
			}
			if known && ok && h.S >= steadyHourS {
				hours = append(hours, curveHour{flowC, c.Limits.setCurveC(outdoorC)})
			}
		}
	}
	return hours
}

// setCurveC is the set curve within its limits, its end pieces drawn on straight.
func (l *Limits) setCurveC(outdoorC float64) float64 {
	points := l.Plant.Curve
	i := 1
	for i < len(points)-1 && outdoorC > points[i].OutdoorC {
		i++
	}
	a, b := points[i-1], points[i]
	flowC := a.FlowC + (outdoorC-a.OutdoorC)*(b.FlowC-a.FlowC)/(b.OutdoorC-a.OutdoorC)
	if l.MaximumFlowC != nil {
		flowC = min(flowC, *l.MaximumFlowC)
	}
	if l.MinimumFlowC != nil {
		flowC = max(flowC, *l.MinimumFlowC)
	}
	return flowC
}

// flowFixed tells of a flow that no weather moves, where the curve was fitted and
// found to be none.
func (c *Case) flowFixed(k *Curve) (Finding, bool) {
	if k.Fit.Verdict != curve.NoCurve || len(c.Limits.Plant.Curve) < 2 {
		return Finding{}, false
	}
	hours := c.curveHours(k.From, k.To)
	if len(hours) < fewestHours {
		return Finding{}, false
	}
	flowK, flowC := spread(hours, func(h curveHour) float64 { return h.flowC })
	wantsK, wantsC := spread(hours, func(h curveHour) float64 { return h.wantsC })
	_, beside := spread(hours, func(h curveHour) float64 { return math.Abs(h.flowC - h.wantsC) })
	if wantsK < leastSpreadK || flowK > fixedShare*wantsK || beside < besideK {
		return Finding{}, false
	}
	return Finding{
		Kind: "curve_not_followed", Severity: Attention, Since: k.From,
		Title:    fmt.Sprintf("The flow stays at %.0f °C whatever the weather; the set curve moves by %.0f K", flowC, wantsK),
		Evidence: []Figure{{"flow_temp_c", flowC, "°C", 1}, {"flow_spread_k", flowK, "K", 1}, {"curve_spread_k", wantsK, "K", 1}, {"curve_c", wantsC, "°C", 1}},
		Causes: []string{
			"the controller holds a fixed flow temperature: weather compensation is off",
			"a thermostat or another controller calls for one fixed temperature",
			"the controller gets no outdoor temperature",
		},
		Next: []string{
			"read the mode of control: weather compensation, not fixed flow",
			"see whether the controller shows a sensible outdoor temperature",
			"then set the curve of the record, and watch the rooms for three days",
		},
		Caution: curveCaution,
	}, true
}

// spread is the range of the middle four fifths, and the median.
func spread(hours []curveHour, of func(h curveHour) float64) (spreadK, middleC float64) {
	values := make([]float64, len(hours))
	for i, h := range hours {
		values[i] = of(h)
	}
	slices.Sort(values)
	n := len(values)
	return values[n-1-n/10] - values[n/10], values[n/2]
}

// flowAboveTarget finds heating that stays above its own target.
func flowAboveTarget(c *Case) []Finding {
	pieces := make([]Piece, len(c.Slots))
	for i := range c.Slots {
		s := &c.Slots[i]
		pieces[i] = Piece{From: s.From, To: s.To(), S: s.Settled.S}
		switch shortK, known := belowTarget(s); {
		case !known:
		case shortK < -aboveTargetK:
			pieces[i].Sign = Bad
		case shortK > -aboveBackK:
			pieces[i].Sign = Clear
		}
	}
	var found []Finding
	for _, e := range (Hold{aboveOpenS, aboveCloseS}).Episodes(pieces) {
		found = append(found, c.aboveFinding(e, pieces))
	}
	return found
}

func (c *Case) aboveFinding(e Episode, pieces []Piece) Finding {
	var flow, target siteday.Mean
	for i := e.First; i < e.Last; i++ {
		if pieces[i].Sign == Bad {
			flow, target = flow.Plus(c.Slots[i].Settled.Flow), target.Plus(c.Slots[i].Settled.Target)
		}
	}
	flowC, _ := flow.Of()
	targetC, _ := target.Of()
	return Finding{
		Kind: "curve_not_followed", Severity: Attention, Since: e.Since, Until: e.Until,
		Title:    fmt.Sprintf("Flow of %.0f °C stays %.0f K above its target", flowC, flowC-targetC),
		Evidence: []Figure{{"above_target_k", flowC - targetC, "K", 1}, {"flow_temp_c", flowC, "°C", 1}, {"flow_target_c", targetC, "°C", 1}},
		Causes: []string{
			"a machine that cannot give as little as is wanted, with little water to take it",
			"another circuit or the backup heater calls for warmer water",
			"the target that is published belongs to a circuit behind a mixing valve",
		},
		Next: []string{
			"see which circuits call, and at what temperature",
			"see whether the backup heater is off",
			"compare the published target with the controller's display",
		},
		Caution: curveCaution,
	}
}
