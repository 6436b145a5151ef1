package dispatch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"coldweek/analysis/job"
	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/render"
	"coldweek/dashboards/note/words"
	"coldweek/ingest/site"
)

const (
	// settleAfter the month's end the last readings have come in.
	settleAfter = 6 * time.Hour
	// waitAtMost for readings that are missing.
	waitAtMost = 5 * 24 * time.Hour
	// CompleteCoverage of a month is enough not to wait for more.
	CompleteCoverage = 0.9
)

// Writer makes drafts.
type Writer struct {
	Archive *archive.Archive
	Store   job.WatchStore
	Now     func() time.Time
}

// Facts gathers the facts of a site's month, as the next issue of its note.
func (w *Writer) Facts(ctx context.Context, record *site.Record, month note.Month, progress job.Progress) (*note.Facts, error) {
	facts, err := note.Gather(ctx, w.Store, record, month, w.Now(), progress)
	if err != nil {
		return nil, err
	}
	window := month.Window(record)
	watched, err := w.Archive.Watched(record.ID, window.From, window.To)
	if err != nil {
		return nil, err
	}
	facts.Watched = facts.Watched || watched
	issues, err := w.Archive.Issues(record.ID, month)
	if err != nil {
		return nil, err
	}
	facts.Issue = len(issues) + 1
	if len(issues) > 0 {
		last := issues[len(issues)-1]
		facts.Previous = &note.Previous{Issue: last.Issue, Date: last.Released, Figures: last.Figures}
	}
	return facts, nil
}

// Draft keeps the note of facts as the draft of its month.
func (w *Writer) Draft(facts *note.Facts, language string) (archive.Entry, error) {
	l, err := words.Load(language)
	if err != nil {
		return archive.Entry{}, err
	}
	d := note.Compose(facts, l)
	files, err := Files(d)
	if err != nil {
		return archive.Entry{}, err
	}
	if files[archive.EngineerFile], err = engineersPage(facts, l); err != nil {
		return archive.Entry{}, err
	}
	return w.Archive.PutDraft(facts.Month, archive.Entry{
		Site: facts.Record.ID, Month: facts.Month.String(), Issue: d.Issue, Language: d.Language, Subject: d.Subject.String(),
		Written: facts.Written, Coverage: facts.This.Coverage, Figures: d.Main,
		Told: findingsTold(facts), Missing: missingFigures(d),
	}, files)
}

// engineersPage is the note with the numbers behind it.
func engineersPage(facts *note.Facts, l *words.Language) ([]byte, error) {
	behind := *facts
	behind.Engineer = true
	return render.HTML(note.Compose(&behind, l))
}

// findingsTold are those that the homeowner is told of, one of each kind.
func findingsTold(facts *note.Facts) []string {
	var titles []string
	seen := map[string]bool{}
	for _, n := range facts.Findings {
		if kind := n.Finding.Name(); !n.Muted && !seen[kind] {
			seen[kind] = true
			titles = append(titles, n.Finding.Title)
		}
	}
	return titles
}

// mainFigures are the figures that a note begins with, as engineers call them.
var mainFigures = []struct{ key, name string }{
	{"rooms", "heat to the rooms"}, {"hot_water", "heat to hot water"}, {"electricity", "electricity"}, {"cost", "cost"}, {"efficiency", "efficiency"},
}

func missingFigures(d *note.Document) []string {
	var missing []string
	for _, f := range mainFigures {
		if _, known := d.Main[f.key]; !known {
			missing = append(missing, f.name)
		}
	}
	return missing
}

// Files are all forms of a document, by the names of the archive.
func Files(d *note.Document) (map[string][]byte, error) {
	page, err := render.HTML(d)
	if err != nil {
		return nil, err
	}
	mail, err := render.MailHTML(d)
	if err != nil {
		return nil, err
	}
	paper, err := render.PDF(d)
	if err != nil {
		return nil, err
	}
	return map[string][]byte{
		archive.HTMLFile: page, archive.MailHTMLFile: mail, archive.PDFFile: paper, archive.TextFile: render.Plain(d),
	}, nil
}

// Release issues a draft, to be sent to the homeowner if there is an address.
func (w *Writer) Release(record *site.Record, month note.Month, by string) (archive.Entry, error) {
	to := archive.Mail{}
	if c := record.Contact; c != nil {
		to.To, to.Name, to.Reply = c.HomeownerEmail, c.Homeowner, c.EngineerEmail
	}
	return w.Archive.Release(record.ID, month, by, w.Now().UTC(), to)
}

// byRecord is who releases what the record lets go at once.
const byRecord = "site record (note: send: at_once)"

// draft makes the draft of last month if it is time and there is none yet.
func (p *Poster) draft(ctx context.Context, record *site.Record) error {
	now := p.writer.Now().In(record.Zone())
	month := note.MonthOf(now).Before(1)
	end := month.Window(record).To
	if sending(record) == site.SendNever || now.Before(end.Add(settleAfter)) {
		return nil
	}
	if err := p.writer.Archive.Settle(record.ID, month); err != nil {
		return err
	}
	if there, err := p.there(record, month); err != nil || there {
		return err
	}
	if watched, err := p.watched(ctx, record, end); err != nil || !watched {
		return err
	}
	facts, err := p.writer.Facts(ctx, record, month, nil)
	if err != nil {
		return err
	}
	if facts.This.Coverage < CompleteCoverage && now.Before(end.Add(waitAtMost)) {
		return nil
	}
	entry, err := p.writer.Draft(facts, note.Language(record))
	if err != nil {
		return err
	}
	p.log.Info("a note was drafted", slog.String("site", record.ID), slog.String("month", month.String()))
	return p.atOnce(record, month, entry)
}

// watched says whether anything was measured at a site before a month's end: there
// is nothing to say of what was before its first reading.
func (p *Poster) watched(ctx context.Context, record *site.Record, end time.Time) (bool, error) {
	extents, err := p.writer.Store.Extents(ctx, record.ID)
	if err != nil {
		return false, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	for _, e := range extents {
		if e.First.Before(end) {
			return true, nil
		}
	}
	return false, nil
}

func sending(record *site.Record) string {
	if record.Note == nil || record.Note.Send == "" {
		return site.SendAfterRelease
	}
	return record.Note.Send
}

// there says whether the month has a draft or an issue. A draft that may go at
// once goes now: the process ended before it could.
func (p *Poster) there(record *site.Record, month note.Month) (bool, error) {
	issues, err := p.writer.Archive.Issues(record.ID, month)
	if err != nil || len(issues) > 0 {
		return true, err
	}
	entry, err := p.writer.Archive.Draft(record.ID, month)
	if errors.Is(err, archive.ErrNone) {
		return false, nil
	}
	if err != nil {
		return true, err
	}
	return true, p.atOnce(record, month, entry)
}

// atOnce releases a draft if the record says so and the month was measured well.
func (p *Poster) atOnce(record *site.Record, month note.Month, entry archive.Entry) error {
	if sending(record) != site.SendAtOnce || entry.Coverage < CompleteCoverage {
		return nil
	}
	_, err := p.writer.Release(record, month, byRecord)
	return err
}
