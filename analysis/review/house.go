package review

import (
	"fmt"
	"math"
	"strings"

	"coldweek/analysis/capacity"
	"coldweek/analysis/curve"
	"coldweek/analysis/heatloss"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// curve holds the curve that the plant was seen to follow against the set one, at
// the design outdoor temperature.
func (w *Week) curve() Point {
	p := Point{}
	setC := w.SetAtDesignC
	if setC != nil {
		p.Limit = Limit{Low: new(*setC - watch.HighCurveK), High: new(*setC + watch.HighCurveK), Basis: new(BySetting),
			Text: fmt.Sprintf("%.1f °C set, ± %d K", *setC, watch.HighCurveK), Source: "the margin is common practice"}
	}
	fit := w.Curve
	if fit.Verdict == curve.Usable && fit.FlowAtDesignC != nil {
		p.value(fit.FlowAtDesignC.Value, "°C", 1)
		p.interval(*fit.FlowAtDesignC)
	}
	switch {
	case w.Sums.Outdoor.S == 0:
		p.notKnown("The outdoor temperature is not measured.", "publish outdoor_temp, from a sensor in the shade")
	case fit.Verdict != curve.Usable:
		p.notKnown(sentence(fit.Why), "wait for days in which it heats for long and the weather changes by some kelvin", "see that flow_temp and outdoor_temp come all the time")
	case w.Limits.DesignOutdoorC == nil:
		p.notKnown("The record has no design outdoor temperature to compare the curves at.", "write design.outdoor_temp_c into the site record")
	case setC == nil:
		p.notKnown(fmt.Sprintf("It follows the weather, to %.1f °C at design; the record has no curve to hold that against.", *p.Value),
			"write heating_curve.points as set in the controller into the site record")
	case p.High != nil && *p.High-*p.Low > 2*watch.HighCurveK:
		p.notKnown(fmt.Sprintf("The week leaves the flow at design open from %.1f to %.1f °C.", *p.Low, *p.High), "wait for colder days, or take a longer period")
	default:
		w.judgeCurve(&p, fit.FlowAtDesignC.Value-*setC)
	}
	return p
}

func (w *Week) judgeCurve(p *Point, gapK float64) {
	switch {
	case gapK >= watch.HighCurveK:
		p.look(fmt.Sprintf("The flow runs %.1f K above the set curve at design.", gapK), "read the curve and its shift in the controller; correct it, or the record", "see whether a room unit or a comfort mode shifts it")
	case gapK <= -watch.HighCurveK:
		p.look(fmt.Sprintf("The flow runs %.1f K below the set curve at design.", -gapK), "read the curve and its shift in the controller; correct it, or the record", "see whether the machine reaches its flow target")
	default:
		p.good(fmt.Sprintf("It follows the set curve within %.1f K at design, with a scatter of %.1f K.", math.Abs(gapK), w.Curve.RMSK))
	}
}

// rooms holds the rooms of the coldest hours against what was promised.
func (w *Week) rooms() Point {
	p := Point{}
	coldest, setC, known := w.Rooms.Coldest, 0.0, len(w.Rooms.Rooms) > 0
	for _, room := range w.Rooms.Rooms {
		if room.SetC == nil {
			known = false
			break
		}
		setC += *room.SetC / float64(len(w.Rooms.Rooms))
	}
	if known {
		p.Limit = Limit{Low: new(setC - watch.RoomShortK), Basis: new(BySetting), Text: fmt.Sprintf("at least %.1f °C", setC-watch.RoomShortK),
			Source: fmt.Sprintf("%.1f °C promised; %g K for sensors and thermostats is common practice", setC, watch.RoomShortK)}
	}
	if coldest != nil {
		p.value(coldest.RoomC, "°C", 1)
	}
	switch {
	case coldest == nil && !w.has(ingest.RoomTemp):
		p.notKnown("No room temperature is measured.", "put a sensor into the coldest room and publish room_temp/PLACE", "or read the rooms on a visit on a cold evening")
	case coldest == nil:
		p.notKnown("Rooms and outdoors were not known together.", "see why room_temp or outdoor_temp is missing")
	case !known:
		p.notKnown(fmt.Sprintf("The rooms were at %.1f °C in the coldest hours; the record does not say what was promised.", coldest.RoomC),
			"write emitters.rooms[].set_temp_c or design.room_temp_c into the site record")
	case coldest.RoomC < *p.Limit.Low:
		p.look(fmt.Sprintf("In the %d coldest hours the rooms were %.1f K below what was promised.", coldest.Hours, setC-coldest.RoomC),
			"see whether a set-back or a timer keeps them cool", "compare the set curve with the record's; raise it in steps of 2 K", "see whether the machine holds its flow target")
	default:
		p.good(fmt.Sprintf("In the %d coldest hours, %.1f °C outdoors, %.1f °C on average and never below %.1f.", coldest.Hours, coldest.OutdoorC, coldest.RoomC, coldest.LowestRoomC))
	}
	return p
}

// heatLoss gives the fit's own verdict.
func (w *Week) heatLoss() Point {
	p, loss := Point{}, w.Loss
	if g := loss.GrossW; g != nil {
		p.value(g.Value/1000, "kW", 1)
		p.Low, p.High = new(g.Low/1000), new(g.High/1000)
	}
	if d := w.Limits.Plant.DesignHeatLossW; d != nil {
		tolerance := heatloss.Usual().Tolerance
		p.Limit = Limit{High: new(*d / 1000 * (1 + tolerance)), Basis: new(ByDesign), Text: fmt.Sprintf("%.1f kW designed, + %.0f %%", *d/1000, 100*tolerance),
			Source: "homes in use vary by some 10 % (common practice)"}
	}
	switch loss.Verdict {
	case heatloss.AsDesigned:
		p.good(fmt.Sprintf("The house loses what was designed, %.0f %% of it so far.", 100*loss.Ratio.Value))
	case heatloss.BelowDesign:
		p.good(fmt.Sprintf("The house loses less than designed, %.0f %% of it so far.", 100*loss.Ratio.Value))
	case heatloss.AboveDesign:
		p.look(fmt.Sprintf("The house loses more than designed: %.0f %% of it (%.0f to %.0f).", 100*loss.Ratio.Value, 100*loss.Ratio.Low, 100*loss.Ratio.High),
			"ask for open windows, a new extension, or rooms heated beyond the design", "go through the survey again: areas, insulation, air change", "see Coldest night: is there enough in hand?")
	default:
		p.notKnown(sentence(loss.Missing), w.makeLossKnown()...)
	}
	return p
}

// makeLossKnown says what is missing for the heat loss.
func (w *Week) makeLossKnown() []string {
	var next []string
	if w.Coverage == 0 {
		next = append(next, "publish what heat and electricity are made of: "+strings.Join(w.missing(), ", "))
	}
	if w.Sums.Outdoor.S == 0 {
		next = append(next, "publish outdoor_temp, from a sensor in the shade")
	}
	if w.Limits.Plant.DesignHeatLossW == nil || w.Limits.DesignOutdoorC == nil {
		next = append(next, "write design.heat_loss_kw, outdoor_temp_c and room_temp_c into the site record")
	}
	if len(next) == 0 {
		next = append(next, "wait for more whole days of readings; two weeks of cold weather narrow it")
	}
	return next
}

// output holds what the machine can give at the design temperature against what
// the house takes there, as far as the week showed it.
func (w *Week) output() Point {
	p, s := Point{}, &w.Sizing
	p.Limit = Limit{Low: new(1.0), Text: "at least 1 of the need", Basis: new(ByDesign), Source: "at the design outdoor temperature, with defrosts and beside hot water"}
	if hand := s.InHandRatio; hand != nil {
		p.value(hand.Value, "of the need", 2)
		p.interval(*hand)
	}
	seen := w.nightInWords()
	switch {
	case s.Verdict == capacity.NotKnown:
		p.notKnown(seen+sentence("What it can do at design is open: "+s.Why), w.makeOutputKnown()...)
	case s.InHandRatio == nil:
		p.good(seen + sentence(s.Why))
	case s.Verdict == capacity.Short && w.HasBackup:
		w.withBackup(&p, seen)
	case s.Verdict == capacity.Short:
		p.look(seen+fmt.Sprintf("At design it gives %.2f of what the house takes.", s.InHandRatio.Value),
			"compare the heat output with the data sheet at this outdoor and flow temperature", "see Heat loss: is the house as designed?", "see that the backup heater is released for such weather")
	case s.Verdict == capacity.Close:
		p.notKnown(seen+fmt.Sprintf("At design it gives %.2f of what the house takes, %.2f to %.2f: too close to call.", s.InHandRatio.Value, s.InHandRatio.Low, s.InHandRatio.High),
			"wait for colder days: the interval narrows", "look at the rooms and the backup heater then")
	default:
		p.good(seen + fmt.Sprintf("At design it gives %.2f of what the house takes.", s.InHandRatio.Value))
	}
	return p
}

// withBackup speaks of a machine that was meant to have help at design.
func (w *Week) withBackup(p *Point, seen string) {
	s := &w.Sizing
	restKW := (1 - s.InHandRatio.Value) * s.NeededAtDesign.Value / 1000
	p.notKnown(seen+fmt.Sprintf("At design it gives %.2f of what the house takes; the backup heater must give the other %.1f kW, and its own output is not in the record.", s.InHandRatio.Value, restKW),
		fmt.Sprintf("see on its plate that the backup heater has %.1f kW or more", restKW), w.releaseBackup())
}

// releaseBackup says where the heater must be let in.
func (w *Week) releaseBackup() string {
	if b := w.Sizing.Balance; b != nil && b.BelowC == nil {
		return fmt.Sprintf("see that it is released below %.0f °C", b.OutdoorC)
	}
	return "see that it is released in such weather"
}

// makeOutputKnown says what is missing for the output at design.
func (w *Week) makeOutputKnown() []string {
	var next []string
	if w.Limits.DesignOutdoorC == nil {
		next = append(next, "write design.outdoor_temp_c into the site record")
	}
	if w.Sizing.Basis == capacity.Unknown {
		next = append(next, "write heat_pump.laboratory_points (EN 14511, from the data sheet) into the site record")
	}
	if w.Sizing.NeededAtDesign == nil {
		next = append(next, "see Heat loss: what the house takes must be known first")
	}
	if len(next) == 0 {
		next = append(next, "wait for colder days")
	}
	return next
}

// sentence begins large and ends with a stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.TrimSuffix(strings.ToUpper(s[:1])+s[1:], ".") + "."
}
