package load

import (
	"context"
	"fmt"
	"strings"

	"coldweek/ingest"
)

// maxListed is how many refusals of one column are kept one by one.
const maxListed = 100

// remembered is how far back the quarantine is searched for refusals that an
// earlier load of the file put there.
const remembered = 10_000

// refuse puts a row, or the cell of it in column c, aside for the quarantine.
func (l *loader) refuse(c *column, err error, line []byte) {
	l.current.Rejected++
	c.refusals++
	if c.refusals > maxListed {
		return
	}
	l.pending = append(l.pending, ingest.Rejected{
		Arrived: l.now, Site: l.record.ID, Topic: fmt.Sprintf("%s:%d:%s", l.name, l.lines.number, c.name),
		Reason: ingest.ReasonOf(err), Detail: err.Error(), Payload: ingest.CutPayload(line),
	})
}

// summarise counts what was not kept one by one.
func (l *loader) summarise() {
	for _, c := range l.layout.all() {
		if c.refusals <= maxListed {
			continue
		}
		l.pending = append(l.pending, ingest.Rejected{
			Arrived: l.now, Site: l.record.ID, Topic: fmt.Sprintf("%s::%s", l.name, c.name), Reason: ingest.BadPayload,
			Detail: fmt.Sprintf("%d more values of column %q were refused; only the first %d are listed", c.refusals-maxListed, c.name, maxListed),
		})
	}
}

// storeRefusals puts into quarantine what is not there from an earlier load of
// the same file.
func (l *loader) storeRefusals(ctx context.Context) error {
	if len(l.pending) == 0 {
		return nil
	}
	if err := l.recall(ctx); err != nil {
		return err
	}
	var news []ingest.Rejected
	for _, r := range l.pending {
		if key := refusalKey(r); !l.listed[key] {
			l.listed[key] = true
			news = append(news, r)
		}
	}
	if len(news) > 0 {
		if err := l.store.Refuse(ctx, news); err != nil {
			return err
		}
	}
	l.pending = l.pending[:0]
	return nil
}

// recall learns once what the quarantine holds of this file.
func (l *loader) recall(ctx context.Context) error {
	if l.listed != nil {
		return nil
	}
	refused, err := l.store.Refusals(ctx, remembered)
	if err != nil {
		return err
	}
	l.listed = make(map[string]bool)
	for _, r := range refused {
		if r.Site == l.record.ID && strings.HasPrefix(r.Topic, l.name+":") {
			l.listed[refusalKey(r.Rejected)] = true
		}
	}
	return nil
}

// refusalKey tells refusals apart: place and content. The detail may name the
// clock, so it counts only where there is no content.
func refusalKey(r ingest.Rejected) string {
	if len(r.Payload) == 0 {
		return r.Topic + "\x00" + r.Detail
	}
	return r.Topic + "\x00" + string(r.Payload)
}
