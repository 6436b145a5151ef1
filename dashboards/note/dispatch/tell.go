package dispatch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/mail"
	"time"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/site"
)

// lateAfter drafts should have been made, engineers are told without those that
// wait for readings.
const lateAfter = 24 * time.Hour

// drafts of a month at the sites of an engineer.
type drafts struct {
	month    note.Month
	made     []draftOf
	late     []lateDraft
	complete time.Time // when all should have been made, and lateAfter has passed
}

// draftOf is a draft that waits, and the record it was made with.
type draftOf struct {
	record *site.Record
	entry  archive.Entry
}

// lateDraft is one to come, by a time at the latest.
type lateDraft struct {
	record *site.Record
	by     time.Time
}

// tell writes the letters that are due.
func (p *Poster) tell(ctx context.Context) error {
	told := false
	for i := range p.engineers {
		if g := &p.engineers[i]; g.EMail != nil && p.mail != nil {
			told = true
			if err := p.tellOne(ctx, g); err != nil {
				return fmt.Errorf("tell %s: %w", g.Name, err)
			}
		}
	}
	if told {
		return nil
	}
	return p.nobodyTold(ctx)
}

// nobodyTold logs once that drafts wait and there is nobody to write to.
func (p *Poster) nobodyTold(ctx context.Context) error {
	month := note.MonthOf(p.writer.Now().UTC()).Before(1)
	if p.said == month {
		return nil
	}
	d, err := p.drafts(ctx, month, func(string) bool { return true })
	if err != nil || len(d.made) == 0 {
		return err
	}
	p.said = month
	p.log.Warn("drafts wait for their release, and nobody is told by e-mail; set notify: smtp and the email of an engineer, or look at the pages",
		slog.String("month", month.String()), slog.Int("drafts", len(d.made)))
	return nil
}

// tellOne writes an engineer's letter of last month, if it is time and there is
// none.
func (p *Poster) tellOne(ctx context.Context, g *notify.Engineer) error {
	now := p.writer.Now()
	month := note.MonthOf(now.In(g.Zone)).Before(1)
	if has, err := p.writer.Archive.HasLetter(month, g.Name); err != nil || has {
		return err
	}
	d, err := p.drafts(ctx, month, g.LooksAfter)
	if err != nil || !d.toBeTold(now) {
		return err
	}
	l, err := p.written(&d, g)
	if err != nil {
		return err
	}
	l.Mail = archive.Mail{State: archive.Waiting, To: g.EMail.Address, Name: g.Name, At: now.UTC(), Next: g.Opens(now, false).UTC()}
	return p.writer.Archive.PutLetter(l)
}

func (d *drafts) toBeTold(now time.Time) bool {
	return len(d.made) > 0 && (len(d.late) == 0 || now.After(d.complete))
}

// drafts are those of a month that wait at some sites. A month that was issued is
// not among them: another draft of it is the engineer's own.
func (p *Poster) drafts(ctx context.Context, month note.Month, ofSite func(string) bool) (drafts, error) {
	d := drafts{month: month}
	for _, record := range p.records() {
		if !ofSite(record.ID) || sending(record) == site.SendNever {
			continue
		}
		if err := p.addDraft(ctx, &d, record); err != nil {
			return d, err
		}
	}
	return d, nil
}

func (p *Poster) addDraft(ctx context.Context, d *drafts, record *site.Record) error {
	issues, err := p.writer.Archive.Issues(record.ID, d.month)
	if err != nil || len(issues) > 0 {
		return err
	}
	entry, err := p.writer.Archive.Draft(record.ID, d.month)
	switch {
	case err == nil && entry.IsDraft():
		d.made = append(d.made, draftOf{record, entry})
		return nil
	case err == nil || !errors.Is(err, archive.ErrNone):
		return err
	}
	end := d.month.Window(record).To
	if watched, err := p.watched(ctx, record, end); err != nil || !watched {
		return err // no draft will come
	}
	d.late = append(d.late, lateDraft{record, end.Add(waitAtMost)})
	if at := end.Add(settleAfter + lateAfter); at.After(d.complete) {
		d.complete = at
	}
	return nil
}

// queuedLetters are the letters to engineers.
func (p *Poster) queuedLetters() ([]queued, error) {
	letters, err := p.writer.Archive.Letters()
	if err != nil {
		return nil, err
	}
	var all []queued
	for _, l := range letters {
		all = append(all, queued{
			what: []any{slog.String("engineer", l.Engineer), slog.String("month", l.Month)}, mail: l.Mail,
			letter: func() (deliver.Letter, error) {
				return deliver.Letter{
					ID: "note." + l.ID(), To: &mail.Address{Name: l.Mail.Name, Address: l.Mail.To},
					Date: l.Written, Subject: l.Subject, Text: l.Text, HTML: l.HTML,
				}, nil
			},
			keep: func(m archive.Mail) error {
				l.Mail = m
				return p.writer.Archive.PutLetter(l)
			},
		})
	}
	return all, nil
}
