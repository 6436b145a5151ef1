package job

import (
	"context"
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/analysis/watch"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

const (
	// watchDays are looked at in all, closeDays of them by slots.
	watchDays, closeDays = 28, 4
	// pastEvery is how often days that are over are looked at again for late
	// readings.
	pastEvery = time.Hour
)

// WatchStore is what watching needs of a store.
type WatchStore interface {
	Store
	store.Findings
}

// Watched is what a look at a site found.
type Watched struct {
	Changed []watch.Finding // new, ended or otherwise different since the look before; they are stored
	Open    []watch.Finding
	Glance  watch.Glance
	LastDay LastDay
}

// LastDay is the last local day that is over, with its figures by name as the store
// has them. Figures is nil where nothing is known of that day.
type LastDay struct {
	From    time.Time
	Figures map[string]float64
}

// Memory keeps what a look at a site read, so that the next one reads only what
// is new. The zero value is empty. It is for one site, and not for use by two at
// once.
type Memory struct {
	settings string
	past     []siteday.Day      // the days before the close ones
	days     map[string]dayRead // of past, with what they were read from
	pastKey  pastKey
	close    []closeDay
	curves   []datedCurve
	pace     pace
	glance   watch.Glance
	lastDay  LastDay
	findings []watch.Finding
	known    bool // findings are those of the store
	seen     seen
}

type pastKey struct {
	first string
	hour  time.Time
}

// closeDay is a day seen by slots.
type closeDay struct {
	localDay
	upto     time.Time // what the trace reaches to
	revision int64
	day      siteday.Day
	slots    []watch.Slot
	checks   []sensor.Suspicion
	voices   []watch.Voice
}

// Watch looks at a site with what was known of it at a time, and keeps in the
// store what it found. Looks may be far apart, as on history; they must not go
// back in time, but to begin anew with a fresh Memory. A look that has nothing new
// since the one before, and is within the same slot of time, costs next to nothing.
func Watch(ctx context.Context, st WatchStore, record *site.Record, now time.Time, m *Memory) (Watched, error) {
	l, err := m.look(ctx, st, st, record, now)
	if err != nil {
		return Watched{}, err
	}
	if err := putFindings(ctx, st, record.ID, l.changed); err != nil {
		return Watched{}, err
	}
	m.remember(l)
	return Watched{Changed: l.changed, Open: m.open(), Glance: m.glance, LastDay: m.lastDay}, nil
}

// looked is what came of a look.
type looked struct {
	changed []watch.Finding
	from    time.Time // the days begin
	seen    seen
}

// look asks the rules, unless all is as it was.
func (m *Memory) look(ctx context.Context, st Store, kept store.Findings, record *site.Record, now time.Time) (looked, error) {
	r, c, err := m.read(ctx, st, record, now)
	if err != nil {
		return looked{}, err
	}
	l := looked{seen: m.state(now)}
	if l.seen == m.seen {
		return l, nil
	}
	m.fill(c)
	m.fitCurves(r, c)
	m.glance, m.lastDay = watch.GlanceAt(c), lastDayOf(record, c)
	l.from = c.DaysFrom()
	if err := m.recall(ctx, kept, record.ID, l.from); err != nil {
		return looked{}, err
	}
	l.changed = watch.Reconcile(m.findings, watch.Run(c), c)
	return l, nil
}

func lastDayOf(record *site.Record, c *watch.Case) LastDay {
	days := c.WholeDays()
	if len(days) == 0 || days[len(days)-1].Sums.KnownS() == 0 {
		return LastDay{}
	}
	last := &days[len(days)-1]
	return LastDay{From: last.From, Figures: fields(record, last)}
}

// seen is what a look stands on: another one that has the same finds the same.
type seen struct {
	slot     time.Time // of now
	past     pastKey
	upto     time.Time
	revision int64 // of the last day, highest of all
}

func (m *Memory) state(now time.Time) seen {
	s := seen{slot: now.Truncate(watch.SlotLength), past: m.pastKey}
	for _, d := range m.close {
		s.upto, s.revision = d.upto, max(s.revision, d.revision)
	}
	return s
}

// read reads what is not remembered. The case is without its days, see fill.
func (m *Memory) read(ctx context.Context, st Store, record *site.Record, now time.Time) (*reader, *watch.Case, error) {
	extents, err := st.Extents(ctx, record.ID)
	if err != nil {
		return nil, nil, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	r, err := readerOf(record)
	if err != nil {
		return nil, nil, err
	}
	c := &watch.Case{Limits: limitsOf(record, r.known), Now: now, Newest: map[ingest.Channel]time.Time{}, Began: map[ingest.Channel]time.Time{}}
	var newest time.Time
	r.st = st
	for _, e := range extents {
		r.channels = append(r.channels, e.Channel)
		if e.First.After(now) {
			continue
		}
		c.Newest[e.Channel], c.Began[e.Channel] = e.Last, e.First
		if e.Last.After(newest) {
			newest = e.Last
		}
	}
	c.Behind = m.pace.see(now, newest)
	if newest.After(now) {
		newest = now
	}
	if m.settings != r.settings {
		*m = Memory{settings: r.settings, findings: m.findings, known: m.known, pace: m.pace}
	}
	upto := newest.Truncate(watch.SlotLength)
	today := daysBefore(now.In(record.Zone()))
	if err := m.readPast(ctx, r, today, now); err != nil {
		return nil, nil, err
	}
	if err := m.readClose(ctx, r, today[len(today)-closeDays:], upto, now); err != nil {
		return nil, nil, err
	}
	return r, c, nil
}

// daysBefore are the local days that watching looks at, the last the one of now.
func daysBefore(now time.Time) []localDay {
	y, month, d := now.Date()
	w := Window{From: StartOfDay(y, month, d+1-watchDays, now.Location()), To: StartOfDay(y, month, d+1, now.Location())}
	return w.days()
}

// readPast takes the days before the close ones from the store, or computes them.
func (m *Memory) readPast(ctx context.Context, r *reader, all []localDay, now time.Time) error {
	key := pastKey{all[0].date, now.Truncate(pastEvery)}
	if key == m.pastKey {
		return nil
	}
	w := Window{From: all[0].from, To: all[len(all)-closeDays].from}
	r.seen = m.days
	past, err := r.days(ctx, w, nil)
	if err != nil {
		return err
	}
	m.days = r.seen
	for len(past) > 0 && past[0].Sums.KnownS() == 0 {
		past = past[1:]
	}
	m.past, m.pastKey = past, key
	return nil
}

// readClose looks closely at the last days, where anything has come.
func (m *Memory) readClose(ctx context.Context, r *reader, wanted []localDay, upto, now time.Time) error {
	var fresh []closeDay
	for _, d := range wanted {
		if !upto.After(d.from) {
			break
		}
		seen, err := m.closeDay(ctx, r, d, upto, now)
		if err != nil {
			return err
		}
		fresh = append(fresh, seen)
	}
	m.close = fresh
	return nil
}

// closeDay is a day as remembered if nothing has come since, else read.
func (m *Memory) closeDay(ctx context.Context, r *reader, d localDay, upto, now time.Time) (closeDay, error) {
	end := siteday.Earlier(reach(d, upto), now)
	revision, err := store.Revision(ctx, r.st, r.record.ID, d.from.Add(-marginBefore), end)
	if err != nil {
		return closeDay{}, fmt.Errorf("read revision of site %q: %w", r.record.ID, err)
	}
	for _, seen := range m.close {
		if seen.date == d.date && seen.upto.Equal(end) && seen.revision == revision {
			return seen, nil
		}
	}
	columns, err := r.st.Scan(ctx, r.record.ID, r.channels, d.from.Add(-marginBefore), now)
	if err != nil {
		return closeDay{}, fmt.Errorf("scan %s of site %q: %w", d.date, r.record.ID, err)
	}
	seen := r.observe(columns, d, end)
	seen.revision = revision
	return seen, nil
}

// reach is how far beyond a day its readings are taken into account: as far as
// they have come, for a day that is over by whole hours up to the margin.
func reach(d localDay, upto time.Time) time.Time {
	if !upto.After(d.to) {
		return upto
	}
	beyond := upto.Sub(d.to).Truncate(pastEvery)
	return d.to.Add(min(beyond, marginAfter))
}

// observe looks at a day closely, as far as it has come.
func (r *reader) observe(columns []ingest.Column, d localDay, end time.Time) closeDay {
	to := siteday.Earlier(d.to, end)
	opt := r.options
	opt.Marks = []time.Time{d.from, to}
	t := trace.Build(columns, d.from.Add(-marginBefore), end, opt)
	op := operation.Detect(t)
	seen := closeDay{localDay: d, upto: end, day: siteday.Sum(t, op, d.date, d.from, to), slots: watch.Observe(t, op, d.from, to),
		voices: watch.Hear(columns, d.from, d.to)}
	for _, s := range sensor.Check(t, op, r.known) {
		if s.Until.After(d.from) && s.Since.Before(to) {
			seen.checks = append(seen.checks, s)
		}
	}
	return seen
}

// fill puts the days together.
func (m *Memory) fill(c *watch.Case) {
	c.Days = append(c.Days, m.past...)
	for _, d := range m.close {
		c.Days = append(c.Days, d.day)
		c.Slots = append(c.Slots, d.slots...)
		c.Checks = append(c.Checks, d.checks...)
		c.Voices = append(c.Voices, d.voices...)
	}
}

// limitsOf is what the record says that a plant is held against.
func limitsOf(record *site.Record, known sensor.Known) watch.Limits {
	l := watch.Limits{Plant: plantOf(record), Sensors: known, DesignFlowLPH: designFlow(record), MaxGap: map[ingest.Channel]time.Duration{}}
	for ch, source := range record.Channels {
		if source.MaxGapS != nil {
			l.MaxGap[ch] = time.Duration(*source.MaxGapS * float64(time.Second))
		}
	}
	if h := record.HeatingCurve; h != nil {
		l.MinimumFlowC, l.MaximumFlowC = h.MinimumFlowC, h.MaximumFlowC
	}
	if d := record.Design; d != nil {
		l.DesignOutdoorC, l.DesignRoomC = d.OutdoorTempC, d.RoomTempC
	}
	if hp := record.HeatPump; hp != nil {
		l.Glycol = strings.HasSuffix(hp.Fluid, "glycol")
	}
	if record.Emitters != nil {
		l.RoomSetC = map[string]float64{}
		for _, room := range record.Emitters.Rooms {
			if room.SetTempC != nil {
				l.RoomSetC[room.Place] = *room.SetTempC
			}
		}
	}
	if hw := record.HotWater; hw != nil {
		l.HotWaterTargetC, l.HygieneC, l.HygieneDays = hw.TargetTempC, hw.HygieneTempC, hw.HygieneInterval
	}
	return l
}
