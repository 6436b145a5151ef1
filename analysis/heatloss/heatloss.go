package heatloss

import (
	"math"

	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Method is what a figure comes from.
type Method string

// The methods.
const (
	BySignature Method = "daily signature"
	ByGreyBox   Method = "hourly grey box"
)

// Result is what the days say. Nil is not known. Estimates are 95 % intervals
// with the heat meter's doubt in them.
type Result struct {
	Points []Point // every day given, for a chart
	Days   int     // of them in the fit
	// ColdestC and WarmestC are the outdoor temperatures of the days in the fit.
	ColdestC, WarmestC float64

	Method    Method // that is quoted, "" when none is
	Signature *Signature
	GreyBox   *GreyBox
	// WithRooms says whether room temperatures were counted; RoomC is the room
	// temperature that the figures are for.
	WithRooms bool
	RoomC     float64

	LossWPerK *robust.Estimate
	BaseC     *robust.Estimate // outdoor temperature from which no heat is needed; nil when not known within 2 K
	GrossW    *robust.Estimate // at the design outdoor temperature
	NetW      *robust.Estimate
	Ratio     *robust.Estimate // GrossW by the design heat loss
	Verdict   Verdict
	Why       string
	Missing   string // what a verdict lacks, "" when there is one
	Warnings  []string

	options Options
}

// Of fits days, in ascending order.
func Of(days []siteday.Day, o Options) *Result {
	o.Rules = o.Rules.filled()
	r := &Result{options: o}
	if len(days) > 0 {
		r.fit(days)
	}
	r.figures()
	r.judge()
	return r
}

func (r *Result) fit(days []siteday.Day) {
	o := &r.options
	r.Points = pointsOf(days, o)
	usualC, counted := countRooms(r.Points, &o.Rules)
	r.WithRooms, r.RoomC = counted, usualRoomC
	switch {
	case o.RoomC != nil:
		r.RoomC = *o.RoomC
	case counted:
		r.RoomC = usualC
	}
	asIf(r.Points, r.RoomC, counted)
	s, ok := leaveOdd(r.Points, counted, &o.Rules)
	r.count()
	if !ok || r.Days < o.Rules.FewestDays {
		return
	}
	s.fit.weigh()
	r.Signature = s
	r.Method = BySignature
	if r.Days >= o.Rules.SignatureDays {
		return
	}
	r.firstDays(days)
}

// firstDays quotes the grey box where there is one. Else the signature takes in
// what is usual of houses.
func (r *Result) firstDays(days []siteday.Day) {
	if r.WithRooms {
		if g, ok := greyBox(hoursIn(days, r.Points, &r.options)); ok {
			r.GreyBox, r.Method = g, ByGreyBox
			return
		}
	}
	spreadK := usualGainSpreadK
	if !r.WithRooms {
		spreadK = math.Hypot(spreadK, usualRoomSpreadK)
	}
	if r.Signature.LossWPerK > 0 {
		r.Signature.assumeBase(r.RoomC-usualGainK, spreadK)
	}
}

// count looks over the days in the fit.
func (r *Result) count() {
	r.ColdestC, r.WarmestC = math.Inf(1), math.Inf(-1)
	for _, p := range r.Points {
		if p.Left == "" {
			r.Days++
			r.ColdestC, r.WarmestC = min(r.ColdestC, *p.OutdoorC), max(r.WarmestC, *p.OutdoorC)
		}
	}
}

// Without room temperatures the slope of heat by outdoor temperature is that of
// the house only as far as the rooms stay as they are. Rooms that a thermostat
// holds follow the weather a little: a thermostatic valve's band of 1 to 2 K over
// some 25 K of outdoor temperature is 0.04 to 0.08 K/K, a perfect controller's 0
// (common practice, no source).
const (
	roomsFollowRatio = 0.03
	roomsDoubtRatio  = 0.05 // 95 %
)

// figures puts down what can be said at the design temperature.
func (r *Result) figures() {
	loss, ok := r.loss()
	if !ok {
		return
	}
	r.LossWPerK, r.BaseC = &loss, r.base()
	if r.options.OutdoorC == nil {
		return
	}
	if gross, ok := r.GrossAt(*r.options.OutdoorC); ok {
		r.GrossW = &gross
		if d := r.options.DesignW; d != nil && *d > 0 {
			r.Ratio = &robust.Estimate{Value: gross.Value / *d, Low: gross.Low / *d, High: gross.High / *d}
		}
	}
	if net, ok := r.NetAt(*r.options.OutdoorC); ok {
		r.NetW = &net
	}
}

// loss is false when heat does not rise as it gets colder.
func (r *Result) loss() (robust.Estimate, bool) {
	switch {
	case r.Method == ByGreyBox:
		return r.withMeter(r.GreyBox.LossWPerK, r.GreyBox.sureLoss(), structureRatio), true
	case r.Method == "" || r.Signature.LossWPerK <= 0:
		return robust.Estimate{}, false
	}
	s := r.Signature
	if r.WithRooms {
		return r.withMeter(s.LossWPerK, s.sureLoss(), 0), true
	}
	const rise = 1 / (1 - roomsFollowRatio)
	e := r.withMeter(s.LossWPerK, s.sureLoss(), roomsDoubtRatio)
	return robust.Estimate{Value: e.Value * rise, Low: e.Low * rise, High: e.High * rise}, true
}

// GrossAt is what leaves the house at an outdoor temperature with the rooms at
// RoomC, in W; false when the loss is not known.
func (r *Result) GrossAt(outdoorC float64) (robust.Estimate, bool) {
	loss, differenceK := r.LossWPerK, r.RoomC-outdoorC
	if loss == nil || differenceK <= 0 {
		return robust.Estimate{}, false
	}
	return robust.Estimate{Value: loss.Value * differenceK, Low: loss.Low * differenceK, High: loss.High * differenceK}, true
}

// NetAt is what the plant must deliver to the rooms at an outdoor temperature
// with the rooms at RoomC, in W: the fitted line with the interval of its mean.
// Gains are as they were, the sun's as on the coldest quarter of the days; where
// rooms are not known, so are they.
func (r *Result) NetAt(outdoorC float64) (robust.Estimate, bool) {
	if r.LossWPerK == nil {
		return robust.Estimate{}, false
	}
	var net robust.Estimate
	if g := r.GreyBox; r.Method == ByGreyBox {
		differenceK := r.RoomC - outdoorC
		net = r.withMeter(g.LossWPerK*(differenceK-g.GainK), g.sureHeat(differenceK), structureRatio)
	} else {
		s := r.Signature
		net = r.withMeter(s.heatW(outdoorC), s.sureHeat(outdoorC), 0)
	}
	net.Value, net.Low, net.High = max(net.Value, 0), max(net.Low, 0), max(net.High, 0)
	return net, true
}

// widestBaseK is up to which half interval a base temperature is known.
const widestBaseK = 2

// base is where the line meets no heat. A meter's error in proportion does not
// move that.
func (r *Result) base() *robust.Estimate {
	var valueC float64
	var c certainty
	if g := r.GreyBox; r.Method == ByGreyBox {
		valueC, c = r.RoomC-g.GainK, g.sureGain()
	} else {
		valueC, c = r.Signature.zeroC(), r.Signature.sureZero()
	}
	half := math.Hypot(c.half(), r.options.PairK*c.perPair)
	if half > widestBaseK {
		return nil
	}
	return &robust.Estimate{Value: valueC, Low: valueC - half, High: valueC + half}
}

// withMeter makes an interval of the fit's own, the heat meter's doubt and
// another share, all 95 %.
func (r *Result) withMeter(value float64, c certainty, otherRatio float64) robust.Estimate {
	half := c.half()
	for _, part := range []float64{r.options.ScaleRatio * value, r.options.PairK * c.perPair, otherRatio * value} {
		half = math.Hypot(half, part)
	}
	return robust.Estimate{Value: value, Low: value - half, High: value + half}
}

// meterRatio is what the heat meter alone leaves of the loss in doubt.
func (r *Result) meterRatio() float64 {
	var valueWPerK float64
	var c certainty
	if r.Method == ByGreyBox {
		valueWPerK, c = r.GreyBox.LossWPerK, r.GreyBox.sureLoss()
	} else {
		valueWPerK, c = r.Signature.LossWPerK, r.Signature.sureLoss()
	}
	return math.Hypot(r.options.ScaleRatio, r.options.PairK*c.perPair/valueWPerK)
}
