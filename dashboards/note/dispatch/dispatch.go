package dispatch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/mail"
	"path/filepath"
	"slices"
	"time"

	"github.com/gofrs/flock"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/site"
)

const (
	// stepEvery is how often drafts and letters that are due are looked for.
	stepEvery = 10 * time.Minute
	// A letter that did not get through is tried again after firstPause, then
	// after twice as long each time, at most longestPause.
	firstPause   = 5 * time.Minute
	longestPause = 6 * time.Hour
)

// Options of a Poster.
type Options struct {
	Writer  Writer
	Dir     string // of the archive, for the lock of who sends
	Records func() []*site.Record
	Mail    *deliver.MailServer // nil: what is released waits
	Logger  *slog.Logger
	// Engineers with an address are told of the drafts that wait at their sites.
	Engineers []notify.Engineer
	PagesURL  string // for links; none when empty
	Home      string // for the commands of letters
}

// Poster drafts and sends.
type Poster struct {
	writer  Writer
	dir     string
	records func() []*site.Record
	mail    *deliver.MailServer
	log     *slog.Logger

	engineers      []notify.Engineer
	pagesURL, home string
	said           note.Month // of which it was logged that nobody can be told
}

// New makes a Poster.
func New(o Options) *Poster {
	return &Poster{writer: o.Writer, dir: o.Dir, records: o.Records, mail: o.Mail, log: o.Logger, engineers: o.Engineers, pagesURL: o.PagesURL, home: o.Home}
}

// Run drafts and sends until ctx ends. Only one process may do so for an archive.
func (p *Poster) Run(ctx context.Context) error {
	lock := flock.New(filepath.Join(p.dir, ".post.lock"))
	held, err := lock.TryLock()
	if err != nil {
		return fmt.Errorf("lock archive of notes: %w", err)
	}
	if !held {
		return fmt.Errorf("archive of notes %q: another process sends from it; stop that one first", p.dir)
	}
	defer func() { _ = lock.Unlock() }()
	for {
		p.Step(ctx)
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(stepEvery):
		}
	}
}

// Step makes the drafts that are due, tells engineers of them and sends what is
// released.
func (p *Poster) Step(ctx context.Context) {
	for _, record := range p.records() {
		if ctx.Err() != nil {
			return
		}
		if err := p.draft(ctx, record); err != nil && ctx.Err() == nil {
			p.log.Error("a note was not drafted; trying again", slog.String("site", record.ID), slog.Any("error", err))
		}
	}
	if err := p.tell(ctx); err != nil && ctx.Err() == nil {
		p.log.Error("engineers were not told of drafts; trying again", slog.Any("error", err))
	}
	if err := p.send(ctx); err != nil && ctx.Err() == nil {
		p.log.Error("notes are held up", slog.Any("error", err))
	}
}

// queued is a letter and what became of it so far.
type queued struct {
	what   []any // for the log
	mail   archive.Mail
	letter func() (deliver.Letter, error)
	keep   func(archive.Mail) error
}

// due are the letters to be sent now.
func (p *Poster) due() ([]queued, error) {
	issues, err := p.queuedIssues()
	if err != nil {
		return nil, err
	}
	letters, err := p.queuedLetters()
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(append(issues, letters...), func(q queued) bool {
		return q.mail.State != archive.Waiting || q.mail.Next.After(p.writer.Now())
	}), nil
}

func (p *Poster) queuedIssues() ([]queued, error) {
	entries, err := p.writer.Archive.List("")
	if err != nil {
		return nil, err
	}
	var all []queued
	for _, e := range entries {
		if e.IsDraft() {
			continue
		}
		m, err := p.writer.Archive.Mail(e)
		if err != nil {
			return nil, err
		}
		all = append(all, queued{
			what: []any{slog.String("site", e.Site), slog.String("month", e.Month)}, mail: m,
			letter: func() (deliver.Letter, error) { return p.letter(e, m) },
			keep:   func(m archive.Mail) error { return p.writer.Archive.SetMail(e, m) },
		})
	}
	return all, nil
}

// send hands over what is due, on one connection.
func (p *Poster) send(ctx context.Context) error {
	due, err := p.due()
	if err != nil || len(due) == 0 {
		return err
	}
	if p.mail == nil {
		p.log.Warn("notes are released, but there is no mail server to send them; set notify: smtp", slog.Int("letters", len(due)))
		return nil
	}
	mailer, err := p.mail.Connect(ctx)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return p.putOff(due, err)
	}
	defer mailer.Close()
	for i, q := range due {
		err := p.sendOne(mailer, q)
		if err != nil && ctx.Err() == nil && deliver.AsFailure(err).Scope == deliver.All {
			return p.putOff(due[i:], err)
		}
		if err != nil && ctx.Err() != nil {
			return ctx.Err() // cut off, which says nothing of the letter
		}
		if err := p.settle(q, err); err != nil {
			return err
		}
	}
	return nil
}

func (p *Poster) sendOne(mailer *deliver.Mailer, q queued) error {
	letter, err := q.letter()
	if err != nil {
		return &deliver.Failure{Scope: deliver.Never, Err: err}
	}
	return mailer.Send(letter)
}

// letter is an issue as e-mail.
func (p *Poster) letter(e archive.Entry, m archive.Mail) (deliver.Letter, error) {
	month, err := note.ParseMonth(e.Month)
	if err != nil {
		return deliver.Letter{}, err
	}
	files := map[string][]byte{}
	for _, name := range []string{archive.MailHTMLFile, archive.TextFile, archive.PDFFile} {
		if files[name], err = p.writer.Archive.File(e.Site, month, e.Issue, name); err != nil {
			return deliver.Letter{}, err
		}
	}
	to, err := mail.ParseAddress(m.To)
	if err != nil {
		return deliver.Letter{}, fmt.Errorf("address %q: %w", m.To, err)
	}
	var reply *mail.Address
	if m.Reply != "" {
		if reply, err = mail.ParseAddress(m.Reply); err != nil {
			return deliver.Letter{}, fmt.Errorf("address to reply to %q: %w", m.Reply, err)
		}
	}
	return deliver.Letter{
		ReplyTo: reply,
		ID:      fmt.Sprintf("note.%s.%s.%d", e.Site, e.Month, e.Issue), To: &mail.Address{Name: m.Name, Address: to.Address}, Date: e.Released,
		Subject: e.Subject, Text: string(files[archive.TextFile]), HTML: string(files[archive.MailHTMLFile]),
		Files: []deliver.File{{Name: e.Site + "-" + e.Month + ".pdf", Type: "application/pdf", Content: files[archive.PDFFile]}},
	}, nil
}

// settle keeps what became of a letter.
func (p *Poster) settle(q queued, failed error) error {
	m := q.mail
	m.Tries++
	m.At, m.Next, m.Why = p.writer.Now().UTC(), time.Time{}, ""
	switch {
	case failed == nil:
		m.State = archive.Sent
		p.log.Info("a letter about notes was sent", q.what...)
	case deliver.AsFailure(failed).Scope == deliver.Never:
		m.State, m.Why = archive.Refused, failed.Error()
		p.log.Error("a letter about notes was refused", append(q.what, slog.Any("error", failed))...)
	default:
		m.Next, m.Why = p.writer.Now().Add(pause(m.Tries, failed)).UTC(), failed.Error()
	}
	return q.keep(m)
}

func pause(tries int, failed error) time.Duration {
	d := firstPause << min(tries-1, 10)
	return max(min(d, longestPause), deliver.AsFailure(failed).Pause)
}

// putOff keeps that none of the letters got through.
func (p *Poster) putOff(all []queued, failed error) error {
	for _, q := range all {
		// All is what failed, not this letter.
		if err := p.settle(q, &deliver.Failure{Scope: deliver.One, Err: failed}); err != nil {
			return errors.Join(failed, err)
		}
	}
	return failed
}
