package job

import (
	"context"
	"fmt"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
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
	begin, end := from.Add(-marginBefore), to.Add(marginAfter)
	columns, err := st.Scan(ctx, record.ID, r.channels, begin, end)
	if err != nil {
		return nil, fmt.Errorf("scan site %q: %w", record.ID, err)
	}
	opt := r.options
	opt.Marks = []time.Time{from, to}
	t := trace.Build(columns, begin, end, opt)
	return &Span{From: from, To: to, Trace: t, Operation: operation.Detect(t, r.config)}, nil
}
