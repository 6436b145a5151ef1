// Package job runs analyses: which site, which window, from which store. It is
// the only part of analysis that touches a store; what the readings mean is
// decided by the pure packages beside it.
package job

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"runtime"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/analysis/fluid"
	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// marginBefore and marginAfter are read beyond a day, so that a run, a defrost
// or a gap across midnight is seen whole.
const (
	marginBefore = 6 * time.Hour
	marginAfter  = 3 * time.Hour
)

// dateLayout is how local calendar dates are written.
const dateLayout = "2006-01-02"

// Store is what jobs need of a store.
type Store interface {
	Scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error)
	Extents(ctx context.Context, site string) ([]store.Extent, error)
	store.Days
}

// Progress is told how many of the days are done; it may be nil.
type Progress func(done, total int)

// Window is a span of whole local days of a site.
type Window struct{ From, To time.Time }

// ParseWindow reads two dates, the second exclusive, in the site's time zone.
func ParseWindow(record *site.Record, from, to string) (Window, error) {
	var w Window
	var err error
	if w.From, err = parseDate(from, record.Zone()); err != nil {
		return w, fmt.Errorf("first date %q: write it as 2026-01-31", from)
	}
	if w.To, err = parseDate(to, record.Zone()); err != nil {
		return w, fmt.Errorf("last date %q: write it as 2026-01-31", to)
	}
	if !w.To.After(w.From) {
		return w, fmt.Errorf("the period %s to %s is empty: the last date is exclusive and must come after the first", from, to)
	}
	return w, nil
}

func parseDate(text string, zone *time.Location) (time.Time, error) {
	date, err := time.Parse(dateLayout, text)
	if err != nil {
		return date, err
	}
	return StartOfDay(date.Year(), date.Month(), date.Day(), zone), nil
}

// StartOfDay returns the first instant of a local day; days beyond the end of
// the month are those of the next. Where the clocks go forward at midnight, as
// in Chile, that is not 00:00, for which time.Date may give an instant of the
// day before.
func StartOfDay(year int, month time.Month, day int, zone *time.Location) time.Time {
	noon := time.Date(year, month, day, 12, 0, 0, 0, zone)
	start := time.Date(year, month, day, 0, 0, 0, 0, zone)
	if start.Day() != noon.Day() {
		_, start = start.ZoneBounds()
	}
	return start
}

// localDay is one day to be computed.
type localDay struct {
	date     string
	from, to time.Time
}

func (w Window) days() []localDay {
	var days []localDay
	for from := w.From; from.Before(w.To); {
		y, m, d := from.Date()
		next := StartOfDay(y, m, d+1, from.Location())
		days = append(days, localDay{date: from.Format(dateLayout), from: from, to: next})
		from = next
	}
	return days
}

// Days returns the site days of a window in ascending order, each from the
// store if it is still true there and computed otherwise.
func Days(ctx context.Context, st Store, record *site.Record, w Window, progress Progress) ([]siteday.Day, error) {
	_, days, err := read(ctx, st, record, w, progress)
	return days, err
}

// read returns the days of a window with their reader.
func read(ctx context.Context, st Store, record *site.Record, w Window, progress Progress) (*reader, []siteday.Day, error) {
	r, err := newReader(ctx, st, record)
	if err != nil {
		return nil, nil, err
	}
	days, err := r.days(ctx, w, progress)
	return r, days, err
}

func (r *reader) days(ctx context.Context, w Window, progress Progress) ([]siteday.Day, error) {
	wanted := w.days()
	kept, err := r.kept(ctx, wanted)
	if err != nil {
		return nil, err
	}
	read, err := r.read(ctx, wanted, kept, progress)
	if err != nil {
		return nil, err
	}
	days := make([]siteday.Day, len(wanted))
	r.seen = make(map[string]dayRead, len(wanted))
	for i, d := range read {
		days[i], r.seen[d.Date] = d.Day, d
	}
	return days, nil
}

// read returns the days wanted, those kept as they are kept where that is still
// true, and keeps the others.
func (r *reader) read(ctx context.Context, wanted []localDay, kept map[string]store.Day, progress Progress) ([]dayRead, error) {
	revisions, err := r.revisions(ctx, wanted)
	if err != nil {
		return nil, err
	}
	read, fresh := make([]dayRead, len(wanted)), make([]store.Day, len(wanted))
	if err := each(ctx, len(wanted), progress, func(ctx context.Context, i int) error {
		var err error
		read[i], fresh[i], err = r.day(ctx, wanted[i], revisions[i], kept[wanted[i].date])
		return err
	}); err != nil {
		return nil, err
	}
	return read, r.keep(ctx, fresh)
}

// dayRead is a day with the revision of the readings that it is of.
type dayRead struct {
	siteday.Day
	revision int64
}

// each runs work for 0 <= i < n on all processors and stops at the first error.
func each(ctx context.Context, n int, progress Progress, work func(ctx context.Context, i int) error) error {
	group, inside := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	var mu sync.Mutex
	done := 0
	for i := 0; i < n && inside.Err() == nil; i++ {
		group.Go(func() error {
			if err := work(inside, i); err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			done++
			if progress != nil {
				progress(done, n)
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	return ctx.Err()
}

// reader reads one site's days.
type reader struct {
	st       Store
	record   *site.Record
	channels []ingest.Channel
	options  trace.Options
	known    sensor.Known
	settings string
	seen     map[string]dayRead // by date, the days read last, with these settings
}

func newReader(ctx context.Context, st Store, record *site.Record) (*reader, error) {
	extents, err := st.Extents(ctx, record.ID)
	if err != nil {
		return nil, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	r, err := readerOf(record)
	if err != nil {
		return nil, err
	}
	r.st = st
	for _, e := range extents {
		r.channels = append(r.channels, e.Channel)
	}
	return r, nil
}

// readerOf makes a reader that has no store.
func readerOf(record *site.Record) (*reader, error) {
	options, err := traceOptions(record)
	if err != nil {
		return nil, err
	}
	r := &reader{record: record, options: options, known: knownOf(record)}
	r.settings, err = settingsOf(record, r.known)
	return r, err
}

// traceOptions says how the site's readings are to be understood.
func traceOptions(record *site.Record) (trace.Options, error) {
	opt := trace.Options{MaxGap: map[ingest.Channel]time.Duration{}}
	for ch, source := range record.Channels {
		if source.MaxGapS != nil {
			opt.MaxGap[ch] = time.Duration(*source.MaxGapS * float64(time.Second))
		}
	}
	var err error
	if opt.Fluid, _, err = fluidOf(record.HeatPump); err != nil {
		return opt, fmt.Errorf("site %q: heat_pump: %w", record.ID, err)
	}
	if m := record.Metering; m != nil {
		if m.HeatMeter != nil && m.HeatMeter.Position == "flow" {
			opt.Meter = fluid.MeterInFlow
		}
	}
	opt.PairOffsetK = appliedOffsetK(record)
	return opt, nil
}

// appliedOffsetK is the offset of the plant's own pair that the record wants
// taken off.
func appliedOffsetK(record *site.Record) float64 {
	if record.Metering == nil {
		return 0
	}
	for _, pair := range record.Metering.SensorPairs {
		if pair.Flow == ingest.Channel(ingest.FlowTemp) && pair.ApplyOffset && pair.OffsetK != nil {
			return *pair.OffsetK
		}
	}
	return 0
}

// Glycol of unknown strength is taken for the middle between water and 30 % by
// volume, where nearly all heating circuits lie; the band is half of what 30 %
// takes off the heat capacity by volume (4.4 % for propylene, 7.7 % for
// ethylene glycol against water, ASHRAE 2001).
const (
	assumedGlycolPct          = 15
	assumedPropyleneBandRatio = 0.022
	assumedEthyleneBandRatio  = 0.039
)

// fluidOf returns the liquid and, where its strength had to be assumed, how
// far its heat capacity may be off for it.
func fluidOf(hp *site.HeatPump) (liquid *fluid.Fluid, assumedRatio float64, err error) {
	if hp == nil {
		return fluid.Water(), 0, nil
	}
	if hp.FluidConcentrationPct != nil {
		liquid, err = fluid.ForName(hp.Fluid, *hp.FluidConcentrationPct, hp.FluidConcentrationBasis)
		return liquid, 0, err
	}
	switch hp.Fluid {
	case "propylene_glycol":
		liquid, err = fluid.ForName(hp.Fluid, assumedGlycolPct, "volume")
		return liquid, assumedPropyleneBandRatio, err
	case "ethylene_glycol":
		liquid, err = fluid.ForName(hp.Fluid, assumedGlycolPct, "volume")
		return liquid, assumedEthyleneBandRatio, err
	}
	liquid, err = fluid.ForName(hp.Fluid, 0, hp.FluidConcentrationBasis)
	return liquid, 0, err
}

// settingsOf digests what in the record shapes a day's figures.
func settingsOf(record *site.Record, known sensor.Known) (string, error) {
	shaping := struct {
		HeatPump *site.HeatPump
		Metering *site.Metering
		Channels map[ingest.Channel]site.Source
		Zone     string
		Known    sensor.Known
		ShortRun time.Duration
	}{record.HeatPump, record.Metering, record.Channels, record.TimeZone, known, plantOf(record).ShortRun}
	text, err := json.Marshal(shaping)
	if err != nil {
		return "", fmt.Errorf("digest record of site %q: %w", record.ID, err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8]), nil
}

// kept returns the stored days by date.
func (r *reader) kept(ctx context.Context, wanted []localDay) (map[string]store.Day, error) {
	last := wanted[len(wanted)-1].to.Format(dateLayout)
	days, err := r.st.Days(ctx, r.record.ID, wanted[0].date, last)
	if err != nil {
		return nil, fmt.Errorf("read stored days of site %q: %w", r.record.ID, err)
	}
	byDate := make(map[string]store.Day, len(days))
	for _, d := range days {
		byDate[d.Date] = d
	}
	return byDate, nil
}

// looksAt is the time of which a day takes readings.
func (d localDay) looksAt() store.Period {
	return store.Period{From: d.from.Add(-marginBefore), To: d.to.Add(marginAfter)}
}

// revisions returns that of each day's readings. They are asked for before any is
// read: what comes meanwhile makes a day be read again.
func (r *reader) revisions(ctx context.Context, wanted []localDay) ([]int64, error) {
	periods := make([]store.Period, len(wanted))
	for i, d := range wanted {
		periods[i] = d.looksAt()
	}
	revisions, err := r.st.Revisions(ctx, r.record.ID, periods)
	if err != nil {
		return nil, fmt.Errorf("read revisions of site %q: %w", r.record.ID, err)
	}
	return revisions, nil
}

// day returns one day and, when it had to be computed, the form to keep.
func (r *reader) day(ctx context.Context, d localDay, revision int64, kept store.Day) (dayRead, store.Day, error) {
	if seen, ok := r.seen[d.date]; ok && seen.revision == revision {
		return seen, store.Day{}, nil
	}
	if kept.Date != "" && kept.Definition == siteday.Definition && kept.Revision == revision {
		var stored storedDay
		if err := stored.unpack(kept.Detail, r.record.Zone()); err == nil && stored.Settings == r.settings {
			return dayRead{stored.Day, revision}, store.Day{}, nil
		}
	}
	look := d.looksAt()
	columns, err := r.st.Scan(ctx, r.record.ID, r.channels, look.From, look.To)
	if err != nil {
		return dayRead{}, store.Day{}, fmt.Errorf("scan %s of site %q: %w", d.date, r.record.ID, err)
	}
	day := r.compute(columns, d)
	fresh, err := r.stored(day, revision)
	return dayRead{day, revision}, fresh, err
}

func (r *reader) compute(columns []ingest.Column, d localDay) siteday.Day {
	t := r.trace(columns, d.from, d.to)
	op := operation.Detect(t)
	day := siteday.Sum(t, op, d.date, d.from, d.to)
	day.Warnings = channelSuspicions(sensor.Check(t, op, r.known), d.from, d.to)
	return day
}

func (r *reader) stored(day siteday.Day, revision int64) (store.Day, error) {
	detail, err := (&storedDay{Settings: r.settings, Day: day}).pack()
	if err != nil {
		return store.Day{}, fmt.Errorf("encode %s of site %q: %w", day.Date, r.record.ID, err)
	}
	return store.Day{
		Site: r.record.ID, Date: day.Date, Definition: siteday.Definition, Revision: revision,
		Fields: fields(r.record, &day), Detail: detail,
	}, nil
}

func (r *reader) keep(ctx context.Context, fresh []store.Day) error {
	var days []store.Day
	for _, d := range fresh {
		if d.Date != "" {
			days = append(days, d)
		}
	}
	if len(days) == 0 {
		return nil
	}
	if err := r.st.PutDays(ctx, days); err != nil {
		return fmt.Errorf("keep %d days of site %q: %w", len(days), r.record.ID, err)
	}
	return nil
}
