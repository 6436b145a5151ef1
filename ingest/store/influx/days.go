package influx

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"coldweek/ingest/store"
)

const (
	dayDefinitionField = "day_definition"
	dayRevisionField   = "day_revision"
)

// takenInDay are names that a figure of a day cannot have as its field.
func takenInDay(name string) bool {
	switch name {
	case "time", "site", "kind", dayDefinitionField, dayRevisionField, figuresField:
		return true
	}
	return strings.HasPrefix(name, detailField)
}

func dayField(figure string) string { return escapeField(figure, takenInDay) }

// PutDays stores the days, each in place of the one with its site and date.
func (s *Store) PutDays(ctx context.Context, days []store.Day) error {
	if len(days) == 0 {
		return nil
	}
	entries := make([]entry, len(days))
	for i, d := range days {
		var err error
		if entries[i], err = dayEntry(d); err != nil {
			return fmt.Errorf("store %d site days: %s of %q: %w", len(days), d.Date, d.Site, err)
		}
	}
	if err := s.replace(ctx, "site_day", entries); err != nil {
		return fmt.Errorf("store %d site days: %w", len(days), err)
	}
	return nil
}

func dayEntry(d store.Day) (entry, error) {
	at, err := time.Parse(time.DateOnly, d.Date)
	switch {
	case err != nil:
		return entry{}, fmt.Errorf("a date is YYYY-MM-DD: %w", err)
	case at.Before(earliest) || !at.Before(latest):
		return entry{}, fmt.Errorf("InfluxDB holds dates from %s to %s", earliest.Format(time.DateOnly), latest.Format(time.DateOnly))
	case d.Site == "":
		return entry{}, fmt.Errorf("a site day needs a site")
	}
	e := newEncoder(1000)
	e.StartLine("site_day")
	e.AddTag("site", escapeName(d.Site))
	e.AddField(dayDefinitionField, lineprotocol.IntValue(int64(d.Definition)))
	e.AddField(dayRevisionField, lineprotocol.IntValue(d.Revision))
	figures, err := e.putFigures(d.Fields, dayField)
	if err != nil {
		return entry{}, err
	}
	if err := e.putDetail(d.Detail); err != nil {
		return entry{}, err
	}
	e.EndLine(at)
	line, err := e.done()
	return entry{place{site: d.Site, ms: at.UnixMilli()}, figures, string(line)}, err
}

// Days returns the stored days with fromDate <= date < toDate, ascending.
func (s *Store) Days(ctx context.Context, site, fromDate, toDate string) ([]store.Day, error) {
	from, err := time.Parse(time.DateOnly, fromDate)
	if err != nil {
		return nil, fmt.Errorf("read days of %q: a date is YYYY-MM-DD: %w", site, err)
	}
	to, err := time.Parse(time.DateOnly, toDate)
	if err != nil {
		return nil, fmt.Errorf("read days of %q: a date is YYYY-MM-DD: %w", site, err)
	}
	fromMS, toMS := span(from, to)
	if fromMS >= toMS {
		return nil, ctx.Err()
	}
	var days []store.Day
	err = s.query(ctx, fmt.Sprintf(`SELECT * FROM "site_day" WHERE "site" = %s AND %s`, text(site), between(fromMS, toMS)),
		func(h *head, row []cell) error {
			d, err := dayOf(recordOf(h, row))
			d.Site = site
			days = append(days, d)
			return err
		})
	if err != nil {
		return nil, fmt.Errorf("read days of %q: %w", site, err)
	}
	return days, nil
}

func dayOf(r record) (store.Day, error) {
	d := store.Day{
		Date:       time.UnixMilli(r["time"].whole).UTC().Format(time.DateOnly),
		Definition: int(r[dayDefinitionField].whole),
		Revision:   r[dayRevisionField].whole,
		Fields:     r.figures(unescapeName),
	}
	var err error
	if d.Detail, err = r.detail(); err != nil {
		return d, fmt.Errorf("%s: %w", d.Date, err)
	}
	return d, nil
}
