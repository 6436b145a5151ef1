package job

import (
	"cmp"
	"slices"

	"coldweek/analysis/curve"
	"coldweek/analysis/cycling"
	"coldweek/analysis/emitter"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// curveKnownOf is what the record says of the heating curve.
func curveKnownOf(record *site.Record) curve.Known {
	k := curve.Known{RoomSetC: roomSetOf(record), Exponent: exponentOf(record)}
	if h := record.HeatingCurve; h != nil {
		k.MinimumFlowC, k.MaximumFlowC = h.MinimumFlowC, h.MaximumFlowC
		for _, p := range h.Points {
			k.Set = append(k.Set, curve.Point{OutdoorC: p.OutdoorTempC, FlowC: p.FlowTempC})
		}
		slices.SortFunc(k.Set, func(a, b curve.Point) int { return cmp.Compare(a.OutdoorC, b.OutdoorC) })
	}
	if d := record.Design; d != nil {
		k.DesignOutdoorC = d.OutdoorTempC
	}
	if record.Emitters != nil {
		for i := range record.Emitters.Rooms {
			k.Rooms = append(k.Rooms, roomOf(&record.Emitters.Rooms[i]))
		}
	}
	if hp := record.HeatPump; hp != nil {
		k.MinimumHeatW = scaled(hp.MinimumHeatKW, wattPerKW)
	}
	return k
}

// roomSetOf is the mean of what the rooms were promised, else what the design
// took; nil where neither is known.
func roomSetOf(record *site.Record) *float64 {
	sumC, n := 0.0, 0.0
	if record.Emitters != nil {
		for _, room := range record.Emitters.Rooms {
			if room.SetTempC != nil {
				sumC, n = sumC+*room.SetTempC, n+1
			}
		}
	}
	switch {
	case n > 0:
		return new(sumC / n)
	case record.Design != nil:
		return record.Design.RoomTempC
	}
	return nil
}

// exponentOf is the exponent of the emitters together, weighed by output; 0
// where there are both floors and radiators, or none are known.
func exponentOf(record *site.Record) float64 {
	if record.Emitters == nil {
		return 0
	}
	floors, outputW, weighed := 0, 0.0, 0.0
	for _, room := range record.Emitters.Rooms {
		if room.FloorAreaM2 != nil && *room.FloorAreaM2 > 0 {
			floors++
		}
		for _, r := range room.Radiators {
			e := radiatorOf(r)
			outputW, weighed = outputW+e.OutputW, weighed+e.OutputW*e.Exponent
		}
	}
	switch {
	case floors > 0 && outputW == 0:
		return emitter.FloorExponent
	case floors == 0 && outputW > 0:
		return weighed / outputW
	}
	return 0
}

// roomOf is a room as the record has it, without readings.
func roomOf(room *site.Room) emitter.Room {
	r := emitter.Room{Place: room.Place, DesignLossW: room.DesignLossW, SetC: room.SetTempC}
	if room.FloorAreaM2 != nil {
		r.FloorAreaM2 = *room.FloorAreaM2
	}
	for _, radiator := range room.Radiators {
		r.Radiators = append(r.Radiators, radiatorOf(radiator))
	}
	return r
}

// radiatorOf fills in what the record leaves out: EN 442's 50 K and a panel
// radiator's exponent.
func radiatorOf(r site.Radiator) emitter.Radiator {
	return emitter.Radiator{OutputW: r.OutputW, RatedAtK: r.RatedAtK, Exponent: r.Exponent}.Usual()
}

// heatingCurveOf holds what the plant was seen to follow against what was set.
func heatingCurveOf(record *site.Record, fit *curve.Fit) HeatingCurve {
	k := curveKnownOf(record)
	h := HeatingCurve{Set: SetCurve{SlopeKPerK: k.SetSlopeKPerK(), FlowAtDesignC: k.SetAtDesignC()}}
	if fit.Hours > 0 {
		h.Fitted.Hours = &fit.Hours
	}
	if fit.Verdict != curve.Usable {
		return h
	}
	h.Fitted.SlopeKPerK, h.Fitted.RMSK = &fit.SlopeKPerK.Value, &fit.RMSK
	if at := fit.FlowAtDesignC; at != nil {
		h.Fitted.FlowAtDesignC = &at.Value
		if h.Set.FlowAtDesignC != nil {
			h.GapAtDesignK = new(at.Value - *h.Set.FlowAtDesignC)
		}
	}
	return h
}

// curveOf fits the heating curve of a span.
func curveOf(record *site.Record, s *siteday.Sums) *curve.Fit {
	return curve.Of(s, curveKnownOf(record))
}

// adviceOf says whether the curve may come down, by what the house needs and how
// its rooms held.
func adviceOf(record *site.Record, s *siteday.Sums, r *Result) curve.Advice {
	around := curve.Surroundings{Comfort: r.Rooms, MinimumFlowLPH: r.Flow.MinimumLPH,
		ShortCycling: r.Running.Verdict == cycling.Short || r.Running.Verdict == cycling.VeryShort}
	return r.Curve.Advise(s, curveKnownOf(record), needFor(r), around)
}

// vagueLoss: a fitted heat loss in doubt by more than this share says nothing of
// how low a curve may go (common practice, no source).
const vagueLoss = 0.3

// needFor is what the house takes, nil where that is not known well.
func needFor(r *Result) curve.Need {
	loss := r.Loss.LossWPerK
	if loss == nil || loss.High-loss.Value > vagueLoss*loss.Value {
		return nil
	}
	return curve.Need(r.Needed)
}
