package load

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// loader is one load under way.
type loader struct {
	store  Store
	record *site.Record
	name   string // of the file, for messages
	opts   Options
	total  int64 // bytes of the file, 0 for a stream
	mark   *mark // nil: no resuming

	source *counter
	lines  *lines
	layout *layout
	clock  wallClock
	now    time.Time // when the batch began

	done    Result // stored
	current Result // read since
	pending []ingest.Rejected
	listed  map[string]bool // refusals of this file already in the quarantine
	batch   []ingest.Reading
	cells   [][]byte
}

func newLoader(st Store, record *site.Record, name string, opts Options) *loader {
	if opts.BatchSize <= 0 {
		opts.BatchSize = defaultBatchSize
	}
	return &loader{store: st, record: record, name: name, opts: opts, clock: wallClock{zone: opts.Zone}}
}

// load reads r from its beginning to its end.
func (l *loader) load(ctx context.Context, r io.Reader) (Result, error) {
	err := l.open(r)
	if err == nil {
		err = l.rows(ctx)
	}
	if err != nil {
		return l.done, fmt.Errorf("load %q into site %q: %w", l.name, l.record.ID, err)
	}
	l.finishResult()
	return l.done, nil
}

// open reads the header and goes to where an earlier run stopped.
func (l *loader) open(r io.Reader) error {
	if l.opts.Now == nil {
		return errors.New("there is no clock (Options.Now)")
	}
	l.now = l.opts.Now()
	l.source = &counter{r: r}
	text, err := unpack(l.source)
	if err != nil {
		return err
	}
	l.lines = newLines(text)
	if l.layout, err = readLayout(l.lines, l.record, l.opts); err != nil {
		return err
	}
	for _, c := range l.layout.columns {
		l.done.Columns = append(l.done.Columns, c.channel)
	}
	return l.resume()
}

// resume takes up what the mark remembers of this file in this layout.
func (l *loader) resume() error {
	if l.mark == nil {
		return nil
	}
	p, ok := l.mark.read(l.layout, l.opts)
	if !ok {
		return nil
	}
	if err := l.lines.skipTo(p.Offset, p.Line); err != nil {
		return fmt.Errorf("go on at line %d: %w", p.Line+1, err)
	}
	p.Done.Columns, p.Done.Warnings, p.Done.ResumedRow = l.done.Columns, nil, p.Done.Rows
	l.done = p.Done
	p.Clock.zone = l.clock.zone
	l.clock = p.Clock
	for i, c := range l.layout.all() {
		c.refusals = p.Refusals[i]
	}
	return nil
}

// rows reads all rows and stores them batch by batch.
func (l *loader) rows(ctx context.Context) error {
	for {
		line, err := l.lines.next()
		switch {
		case errors.Is(err, io.EOF):
			return l.finish(ctx)
		case errors.Is(err, errLineTooLong):
			l.refuse(&l.layout.time, err, nil)
		case err != nil:
			return errors.Join(l.cutOff(err), l.flush(ctx))
		case len(bytes.TrimSpace(line)) == 0:
			continue
		default:
			if err := l.row(line); err != nil {
				return err
			}
		}
		if l.current.Rows++; l.current.Rows >= int64(l.opts.BatchSize) {
			if err := l.flush(ctx); err != nil {
				return err
			}
		}
	}
}

func (l *loader) cutOff(err error) error {
	return fmt.Errorf("read behind line %d: %w; what came before it is loaded", l.lines.number, err)
}

// row takes one row. An error stops the load.
func (l *loader) row(line []byte) error {
	cells, err := l.layout.split(l.cells, line)
	if err == nil {
		l.cells = cells
		err = l.layout.checkCells(cells, l.lines.whole)
	}
	if err != nil {
		l.refuse(&l.layout.time, err, line)
		return nil
	}
	t, err := l.time(cells)
	if errors.Is(err, ingest.ErrNoOffset) && l.done.From.IsZero() && l.current.From.IsZero() {
		return fmt.Errorf("line %d: %w; or name the zone in which the clock of the file ran (--zone %s)", l.lines.number, err, l.record.Zone())
	}
	if err != nil {
		l.refuse(&l.layout.time, err, line)
		return nil
	}
	unixMS := t.UnixMilli()
	for _, c := range l.layout.columns {
		if c.index < len(cells) {
			l.cell(c, bytes.TrimSpace(cells[c.index]), unixMS, line)
		}
	}
	l.current.widen(t, t)
	return nil
}

func (l *loader) time(cells [][]byte) (time.Time, error) {
	if l.layout.time.index >= len(cells) {
		return time.Time{}, &ingest.RefusedError{Reason: ingest.BadTime, Detail: "the row has no time"}
	}
	t, err := l.clock.parse(cells[l.layout.time.index])
	if err != nil {
		return time.Time{}, err
	}
	return t, ingest.CheckTime(t, l.now)
}

func (l *loader) cell(c *column, cell []byte, unixMS int64, line []byte) {
	if isMissing(cell) {
		return
	}
	value, err := l.layout.value(c.intake, cell)
	if err != nil {
		l.refuse(c, err, line)
		return
	}
	c.add(unixMS, value)
	l.current.Readings++
}

// flush stores what has been read since the last flush, then remembers where
// that was. The order matters: a mark must never be ahead of the store.
func (l *loader) flush(ctx context.Context) error {
	l.batch = slices.Grow(l.batch[:0], int(l.current.Readings))
	for _, c := range l.layout.columns {
		l.batch = c.appendTo(l.batch, l.record.ID, c.channel)
		c.clear()
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	changed, err := l.store.Append(ctx, l.batch)
	if err != nil {
		return err
	}
	if err := l.storeRefusals(ctx); err != nil {
		return err
	}
	l.current.Changed = changed
	l.done.add(l.current)
	l.current = Result{}
	l.now = l.opts.Now()
	l.remember()
	if l.opts.Progress != nil {
		l.opts.Progress(l.source.done, l.total)
	}
	return nil
}

// finish stores the rest. The file is then loaded, and its mark has served.
func (l *loader) finish(ctx context.Context) error {
	l.summarise()
	if err := l.flush(ctx); err != nil {
		return err
	}
	if l.mark != nil {
		l.mark.remove()
	}
	return nil
}

func (l *loader) remember() {
	if l.mark == nil {
		return
	}
	p := progress{Offset: l.lines.offset, Line: l.lines.number, Done: l.done, Clock: l.clock}
	for _, c := range l.layout.all() {
		p.Refusals = append(p.Refusals, c.refusals)
	}
	if err := l.mark.write(p, l.layout, l.opts); err != nil {
		l.done.Warnings = append(l.done.Warnings, fmt.Sprintf("cannot remember how far the load came: %v", err))
		l.mark = nil
	}
}

func (l *loader) finishResult() {
	warnings := l.layout.warnings
	if l.done.Rows == 0 {
		warnings = append(warnings, "the file has a header and no rows")
	}
	if l.clock.Ambiguous > 0 {
		warnings = append(warnings, fmt.Sprintf("%d rows lie in an hour that comes twice in %s; their order in the file told which", l.clock.Ambiguous, l.clock.zone))
	}
	l.done.Warnings = append(warnings, l.done.Warnings...)
}

// add puts what was read later to r.
func (r *Result) add(later Result) {
	r.Rows += later.Rows
	r.Readings += later.Readings
	r.Changed += later.Changed
	r.Rejected += later.Rejected
	if !later.From.IsZero() {
		r.widen(later.From, later.To)
	}
}

func (r *Result) widen(from, to time.Time) {
	if r.From.IsZero() || from.Before(r.From) {
		r.From = from
	}
	if to.After(r.To) {
		r.To = to
	}
}
