package job

import (
	"context"
	"fmt"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

// Span is a stretch of time seen closely: the trace and what the plant did.
// It reaches beyond From and To by the margins that tell runs whole.
type Span struct {
	From, To  time.Time
	Trace     *trace.Trace
	Operation *operation.Operation
}

// Look reads any span of time of a site, not only whole days.
func Look(ctx context.Context, st Store, record *site.Record, from, to time.Time) (*Span, error) {
	r, err := newReader(ctx, st, record)
	if err != nil {
		return nil, err
	}
	return r.look(ctx, from, to)
}

func (r *reader) look(ctx context.Context, from, to time.Time) (*Span, error) {
	columns, err := r.st.Scan(ctx, r.record.ID, r.channels, from.Add(-marginBefore), to.Add(marginAfter))
	if err != nil {
		return nil, fmt.Errorf("scan site %q: %w", r.record.ID, err)
	}
	t := r.trace(columns, from, to)
	return &Span{From: from, To: to, Trace: t, Operation: operation.Detect(t)}, nil
}

// WindowAround returns the whole local days that hold a span of time.
func WindowAround(from, to time.Time) Window {
	y, m, d := from.Date()
	w := Window{From: StartOfDay(y, m, d, from.Location())}
	y, m, d = to.Add(-time.Millisecond).In(from.Location()).Date()
	w.To = StartOfDay(y, m, d+1, from.Location())
	return w
}

// AnalyseColumns answers for readings in memory, without a store.
func AnalyseColumns(record *site.Record, columns []ingest.Column, w Window) (*Result, error) {
	r, err := readerOf(record)
	if err != nil {
		return nil, err
	}
	for _, c := range columns {
		r.channels = append(r.channels, c.Channel)
	}
	var days []siteday.Day
	for _, d := range w.days() {
		days = append(days, r.compute(columns, d))
	}
	result := Summarise(record, w, days, sourceOf(r.channels))
	if step := result.FlowRate.Step; step != nil {
		t := r.trace(columns, step.From, step.To)
		result.FlowRate.Date(t, operation.Detect(t))
	}
	if circuitsWanted(r.channels) {
		t := r.trace(columns, w.To.AddDate(0, 0, -circuitDays), w.To)
		result.Emitters.Circuits = watchedCircuits(record, t, operation.Detect(t))
	}
	return result, nil
}

// trace reaches beyond a span by the margins that tell runs whole.
func (r *reader) trace(columns []ingest.Column, from, to time.Time) *trace.Trace {
	opt := r.options
	opt.Marks = []time.Time{from, to}
	return trace.Build(columns, from.Add(-marginBefore), to.Add(marginAfter), opt)
}
