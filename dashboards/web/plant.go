package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/ingest/site"
)

// plantBody is a plant over a period.
type plantBody struct {
	Head  plantHead
	Plate []fact        // what the record says of the plant
	Open  []findingLine // findings that last, the worst first
	More  int           // of them, beyond those shown

	Period   string
	Note     string // what was changed about the period asked for
	Zone     string // of all times
	From, To string // for the fields of the form
	Address  string // of this view
	Moves    moves

	TraceAddress, DaysAddress string // of the drawings alone

	Headline, Particulars []figure
	Warnings              []string
	TraceNote             string // how it was drawn, when not from readings
	TraceWide             template.HTML
	TraceNarrow           template.HTML
	Log                   logbook
	BarsWide, BarsNarrow  template.HTML
	Days                  []dayLine
	DaysName              string
}

// fact is a line of the plate.
type fact struct{ Name, Value string }

func (s *server) plant(r *http.Request) (*page, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	ctx, now := r.Context(), s.Now().In(record.Zone())
	p, note, chosen, err := parsePeriod(r.URL.Query(), record.Zone())
	if err != nil {
		return nil, backTo(err, record)
	}
	first, last, err := extent(ctx, s.Store, record)
	if err != nil {
		return nil, err
	}
	if !chosen {
		p = newestDay(last, now)
	}
	head, err := s.plantHead(r, record, "")
	if err != nil {
		return nil, err
	}
	body := &plantBody{
		Head: head, Plate: plate(record),
		Period: p.String(), Note: note, Zone: zoneInWords(p.from), From: p.from.Format(minuteLayout), To: p.to.Format(minuteLayout),
		Address: plantAddress(record.ID) + p.query(), Moves: p.moves(first, now),
		TraceAddress: plantAddress(record.ID) + "/trace.svg" + p.query(), DaysAddress: plantAddress(record.ID) + "/days.svg" + p.query(),
	}
	body.addOpen(head.found, now)
	if !last.IsZero() {
		if err := s.fill(ctx, body, record, p, now); err != nil {
			return nil, err
		}
	}
	made := &page{Template: "plant", Title: head.Name, Body: body}
	if !chosen {
		made.Live = head.LiveAt
	}
	return made, nil
}

// mostOpen findings stand over the readings of a plant.
const mostOpen = 3

// addOpen adds the findings that last and are not muted.
func (b *plantBody) addOpen(found []noticed, now time.Time) {
	for i := range found {
		switch {
		case !found[i].open():
		case len(b.Open) < mostOpen:
			b.Open = append(b.Open, found[i].line(now))
		default:
			b.More++
		}
	}
}

// backTo lets a refused range lead back to the plant.
func backTo(err error, record *site.Record) error {
	var refused *refusal
	if errors.As(err, &refused) {
		refused.Back, refused.BackName = plantAddress(record.ID), nameOf(record)
	}
	return err
}

// early is until when in the morning a day tells little by itself.
const early = 6 * time.Hour

// newestDay is today, early in the morning the last 24 hours, or the day of the
// newest reading when that is before.
func newestDay(last, now time.Time) period {
	if !last.IsZero() && last.Before(dayOf(now)) {
		return wholeDay(last)
	}
	if now.Sub(dayOf(now)) < early {
		hour := now.Truncate(time.Hour).Add(time.Hour)
		return period{hour.Add(-24 * time.Hour), hour}
	}
	return wholeDay(now)
}

// fill adds what is read from the store.
func (s *server) fill(ctx context.Context, body *plantBody, record *site.Record, p period, now time.Time) error {
	fillPeriod := s.fillClose
	if p.long() {
		fillPeriod = s.fillLong
	}
	if err := fillPeriod(ctx, body, record, p, now); err != nil {
		return err
	}
	days, err := s.fortnight(ctx, record, p, now)
	if err != nil {
		return err
	}
	body.BarsWide = inline(barsOf(record, days, "days-wide", widePx))
	body.BarsNarrow = inline(barsOf(record, days, "days-narrow", narrowPx))
	body.Days = dayLines(days, p, record.Zone())
	body.DaysName = fmt.Sprintf("%d days", len(days))
	return nil
}

// fillClose adds what readings tell of a period.
func (s *server) fillClose(ctx context.Context, body *plantBody, record *site.Record, p period, now time.Time) error {
	span, err := job.Look(ctx, s.Store, record, p.from, p.seenBy(now))
	if err != nil {
		return err
	}
	result, err := s.summary(ctx, record, span, p, now)
	if err != nil {
		return err
	}
	body.Headline, body.Particulars, body.Warnings = headline(result), particulars(result), sentences(result.Warnings)
	drawn := traceOf(record, span, p, now)
	body.TraceWide = inline(within(drawn, "trace-wide", widePx, leastWidePx, wideBytes))
	body.TraceNarrow = inline(within(drawn, "trace-narrow", narrowPx, leastPx, narrowBytes))
	body.Log = logbookOf(span, p.days() > 1)
	return nil
}

// zoneInWords names the zone and how far it is from UTC at a time.
func zoneInWords(t time.Time) string {
	offset := strings.Replace(t.Format("UTC-07:00"), "-", minus, 1)
	return strings.ReplaceAll(t.Location().String(), "_", " ") + " (" + offset + ")"
}

// plate is what the record tells of a plant, as on the plate of a machine.
func plate(record *site.Record) []fact {
	facts := []fact{{"Plant", record.ID}}
	add := func(name, value string) {
		if value != "" {
			facts = append(facts, fact{name, value})
		}
	}
	if hp := record.HeatPump; hp != nil {
		add("Heat pump", strings.TrimSpace(hp.Maker+" "+hp.Model))
		add("Rated heat", with("%s", measured(hp.RatedHeatKW, 1, "kW")))
	}
	if d := record.Design; d != nil {
		loss := with("%s", measured(d.HeatLossKW, 1, "kW"))
		at := with("at %s outdoors", measured(d.OutdoorTempC, 0, "°C"))
		add("Design heat loss", strings.TrimSpace(loss+" "+at))
		add("Design flow", with("%s", measured(d.FlowTempC, 0, "°C")))
	}
	if c := record.Commissioned; c != nil {
		add("Commissioned", strings.TrimSpace(remarks(c.Date, with("%s", litresPerHour(c.FlowRateLPH)))))
	}
	return facts
}
