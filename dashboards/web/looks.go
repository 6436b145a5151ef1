package web

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"sync"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/dashboards/chart"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// look is what a glance at a plant shows: what it does now, and today so far.
type look struct {
	at       time.Time
	lastSeen time.Time // of the newest reading; zero when there never was any

	state  operation.State
	since  time.Time // when the state began; zero when before the readings looked at
	backup bool      // the backup heater is on

	flowC, outdoorC, powerW *float64    // nil when older than a plant is called silent after
	day                     siteday.Day // today so far
	today                   job.Day     // the same in brief
	spark                   []byte      // flow temperature of the last 24 hours
}

// silentAfter is how long a plant may send nothing before it is called silent.
const silentAfter = 15 * time.Minute

// silence returns how long the plant has been silent, 0 if it is not.
func (l *look) silence(now time.Time) time.Duration { return silence(l.lastSeen, now) }

func silence(lastSeen, now time.Time) time.Duration {
	if quiet := now.Sub(lastSeen); quiet > silentAfter {
		return quiet
	}
	return 0
}

// looks keeps close looks for a few seconds: they read a day of raw readings
// each, and a list of plants needs one of every plant.
type looks struct {
	Options
	mu   sync.Mutex
	kept map[string]*keptLook
}

// lookLasts is for how long a look is taken as now, weekLasts for how long the
// days before today are taken as they are.
const (
	lookLasts = 15 * time.Second
	weekLasts = 2 * time.Minute
)

// keptLook is one plant's look. Its lock, taken by sending, keeps many askers
// from reading the same readings at once.
type keptLook struct {
	lock   chan struct{}
	record *site.Record
	look   *look
	weekAt time.Time
	week   *job.Result
}

func newLooks(o Options) *looks {
	o.Store = newBrieflyKept(o)
	return &looks{Options: o, kept: map[string]*keptLook{}}
}

// close returns a look at a plant that is a few seconds old at most.
func (l *looks) close(ctx context.Context, record *site.Record) (*look, error) {
	k, err := l.hold(ctx, record)
	if err != nil {
		return nil, err
	}
	defer k.release()
	now := l.Now()
	if k.look != nil && now.Sub(k.look.at).Abs() < lookLasts {
		return k.look, nil
	}
	fresh, err := l.read(ctx, record, now.In(record.Zone()))
	if err != nil {
		return nil, fmt.Errorf("look at site %q: %w", record.ID, err)
	}
	k.look = fresh
	return fresh, nil
}

// week returns the answer for the last seven whole days.
func (l *looks) week(ctx context.Context, record *site.Record) (*job.Result, error) {
	k, err := l.hold(ctx, record)
	if err != nil {
		return nil, err
	}
	defer k.release()
	now := l.Now().In(record.Zone())
	today := dayOf(now)
	if k.week != nil && now.Sub(k.weekAt).Abs() < weekLasts && k.week.To.Equal(today) {
		return k.week, nil
	}
	w := job.Window{From: daysOn(today, -7), To: today}
	days, err := job.Days(ctx, l.Store, record, w, nil)
	if err != nil {
		return nil, err
	}
	k.week, k.weekAt = job.Count(record, w, days, trace.NoHeat), now
	return k.week, nil
}

// hold returns what is kept of a plant, for the caller alone until released.
// What was made with another record is dropped.
func (l *looks) hold(ctx context.Context, record *site.Record) (*keptLook, error) {
	l.mu.Lock()
	k, ok := l.kept[record.ID]
	if !ok {
		k = &keptLook{lock: make(chan struct{}, 1)}
		l.kept[record.ID] = k
	}
	l.mu.Unlock()
	select {
	case k.lock <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if !sameRecord(k.record, record) {
		k.look, k.week = nil, nil
	}
	k.record = record
	return k, nil
}

// sameRecord says whether two records say the same: all are read again when one
// file changes.
func sameRecord(a, b *site.Record) bool { return a == b || a != nil && reflect.DeepEqual(a, b) }

func (k *keptLook) release() { <-k.lock }

func (l *looks) read(ctx context.Context, record *site.Record, now time.Time) (*look, error) {
	seen := &look{at: now}
	var err error
	if seen.lastSeen, err = lastSeen(ctx, l.Store, record); err != nil {
		return nil, err
	}
	midnight := dayOf(now)
	end := siteday.Later(now, midnight.Add(time.Minute))
	if seen.lastSeen.Before(now.Add(-24*time.Hour)) && seen.lastSeen.Before(midnight) {
		seen.sum(record, &job.Span{From: midnight, To: end}) // there is nothing to read
		return seen, nil
	}
	span, err := job.Look(ctx, l.Store, record, midnight, end)
	if err != nil {
		return nil, err
	}
	seen.sum(record, span)
	if seen.silence(now) == 0 {
		seen.readNow(span, now)
	}
	seen.spark, err = l.sparkline(ctx, record, span, now)
	return seen, err
}

// sum sums up the day so far.
func (l *look) sum(record *site.Record, span *job.Span) {
	date := span.From.Format(dateLayout)
	if span.Trace == nil {
		l.day = siteday.Day{Date: date, From: span.From, To: span.To, Sums: siteday.Sums{SpanS: span.To.Sub(span.From).Seconds()}}
	} else {
		l.day = siteday.Sum(span.Trace, span.Operation, date, span.From, span.To)
	}
	w := job.Window{From: span.From, To: span.To}
	l.today = job.Count(record, w, []siteday.Day{l.day}, trace.NoHeat).Days[0]
}

// readNow takes the newest values and what the plant does.
func (l *look) readNow(span *job.Span, now time.Time) {
	l.flowC = newest(span.Trace, ingest.FlowTemp, now)
	l.outdoorC = newest(span.Trace, ingest.OutdoorTemp, now)
	l.powerW = newest(span.Trace, ingest.Power, now)
	states := span.Operation.State
	last := len(states) - 1
	for last >= 0 && states[last] == operation.Unknown {
		last--
	}
	if last < 0 || silence(span.Trace.Start(last+1), now) > 0 {
		return
	}
	l.state, l.backup = states[last], span.Operation.Backup[last]
	first := last
	for first > 0 && states[first-1] == l.state {
		first--
	}
	if first > 0 {
		l.since = span.Trace.Start(first).In(now.Location())
	}
}

// newest returns the newest value of a quantity unless it is too old.
func newest(t *trace.Trace, q ingest.Quantity, now time.Time) *float64 {
	c, ok := t.Column(ingest.Channel(q))
	if !ok || silence(time.UnixMilli(c.UnixMS[c.Len()-1]), now) > 0 {
		return nil
	}
	return &c.Value[c.Len()-1]
}

// sparkline draws the flow temperature of the last 24 hours, or the
// electricity of a plant that does not send any.
func (l *looks) sparkline(ctx context.Context, record *site.Record, span *job.Span, now time.Time) ([]byte, error) {
	s := chart.Series{Name: "Flow temperature", Role: chart.Flow}
	ch := ingest.Channel(ingest.FlowTemp)
	today, ok := span.Trace.Column(ch)
	if !ok {
		ch, s.Name, s.Role, s.Hold = ingest.Channel(ingest.Power), "Electricity", chart.Power, true
		today, _ = span.Trace.Column(ch)
	}
	from, upto := now.Add(-24*time.Hour-silentAfter), now
	if today.Len() > 0 {
		upto = time.UnixMilli(today.UnixMS[0])
	}
	if upto.After(from) { // today's are at hand
		columns, err := l.Store.Scan(ctx, record.ID, []ingest.Channel{ch}, from, upto)
		if err != nil {
			return nil, err
		}
		s.UnixMS, s.Value = columns[0].UnixMS, columns[0].Value
	}
	s.UnixMS, s.Value = slices.Concat(s.UnixMS, today.UnixMS), slices.Concat(s.Value, today.Value)
	s.MaxGapMS = max(span.Trace.MaxGap(ch), 2*time.Minute).Milliseconds()
	return sparkOf("spark-"+record.ID, nameOf(record), s, now), nil
}

// sparkOf draws a series of the last 24 hours for a row of a table.
func sparkOf(id, of string, s chart.Series, now time.Time) []byte {
	return chart.Sparkline{
		ID: id, Title: of + ": " + s.Name + ", last 24 hours",
		FromMS: now.Add(-24 * time.Hour).UnixMilli(), ToMS: now.UnixMilli(), Series: s, Size: chart.Size{Width: 168, Height: 34},
	}.SVG()
}

func lastSeen(ctx context.Context, st job.Store, record *site.Record) (time.Time, error) {
	_, last, err := extent(ctx, st, record)
	return last, err
}

// extent returns when a plant's first and newest readings are from, in its own
// time; both are zero when there are none.
func extent(ctx context.Context, st job.Store, record *site.Record) (first, last time.Time, err error) {
	extents, err := st.Extents(ctx, record.ID)
	if err != nil {
		return first, last, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	first, last = store.Span(extents)
	return first.In(record.Zone()), last.In(record.Zone()), nil
}
