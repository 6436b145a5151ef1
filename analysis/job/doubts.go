package job

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// knownOf is what the record says that readings are held against.
func knownOf(record *site.Record) sensor.Known {
	k := sensor.Known{PairOffsetK: appliedOffsetK(record)}
	if lph := designFlow(record); lph != nil {
		k.FlowLPH = *lph
	}
	if c := record.Commissioned; c != nil && c.FlowRateLPH != nil {
		k.FlowLPH = *c.FlowRateLPH
	}
	if hp := record.HeatPump; hp != nil {
		if hp.MinimumFlowLPH != nil {
			k.MinimumFlowLPH = *hp.MinimumFlowLPH
		}
		if hp.RatedHeatKW != nil {
			k.RatedHeatW = *hp.RatedHeatKW * wattPerKW
		}
	}
	if l := record.Location; l != nil {
		k.Place = &sensor.Place{LatitudeDeg: l.LatitudeDeg, LongitudeDeg: l.LongitudeDeg}
	}
	if hw := record.HotWater; hw != nil {
		for _, span := range hw.Schedule {
			if from, to, ok := hoursOf(span); ok {
				k.HotWater = append(k.HotWater, sensor.Hours{FromH: from, ToH: to})
			}
		}
	}
	return k
}

// hoursOf reads a span of the local day in hours.
func hoursOf(span site.TimeSpan) (fromH, toH float64, ok bool) {
	const layout = "15:04"
	from, err := time.Parse(layout, span.From)
	to, err2 := time.Parse(layout, span.To)
	midnight, _ := time.Parse(layout, "00:00")
	return from.Sub(midnight).Hours(), to.Sub(midnight).Hours(), err == nil && err2 == nil
}

// warningOf keeps a suspicion with its day.
func warningOf(s sensor.Suspicion) siteday.Warning {
	names := make([]string, len(s.Channels))
	for i, ch := range s.Channels {
		names[i] = string(ch)
	}
	w := siteday.Warning{Kind: strings.Join(append([]string{string(s.Kind)}, names...), " "), Detail: s.Detail}
	if e := s.Effect; e != nil {
		w.Detail += fmt.Sprintf("; heat reads %+.1f %%, SPF %+.1f %%", e.HeatPct, e.SPFPct)
	}
	return w
}

// Doubts tells each doubt once for the days on which it was found, and what
// only several days show.
func Doubts(record *site.Record, days []siteday.Day) []string {
	type doubt struct {
		kind, first, last, detail string
		days                      int
	}
	var doubts []doubt
	for _, d := range days {
		for _, w := range d.Warnings {
			i := slices.IndexFunc(doubts, func(known doubt) bool { return known.kind == w.Kind })
			if i < 0 {
				doubts = append(doubts, doubt{kind: w.Kind, first: d.Date})
				i = len(doubts) - 1
			}
			doubts[i].last, doubts[i].detail = d.Date, w.Detail
			doubts[i].days++
		}
	}
	var told []string
	for _, d := range doubts {
		when := d.first
		if d.days > 1 {
			when = fmt.Sprintf("%s to %s, %d days", d.first, d.last, d.days)
		}
		told = append(told, when+": "+d.detail)
	}
	for _, s := range sensor.CheckDays(days, knownOf(record)) {
		told = append(told, fmt.Sprintf("%s to %s: %s", onDate(record, s.Since), onDate(record, s.Until), warningOf(s).Detail))
	}
	return told
}

func onDate(record *site.Record, at time.Time) string {
	return at.In(record.Zone()).Format(dateLayout)
}

// channelSuspicions are a day's own, those that reach into it from its margins
// left out.
func channelSuspicions(all []sensor.Suspicion, from, to time.Time) []siteday.Warning {
	var own []siteday.Warning
	for _, s := range all {
		if s.Until.After(from) && s.Since.Before(to) {
			own = append(own, warningOf(s))
		}
	}
	return own
}
