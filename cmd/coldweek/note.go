package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"coldweek/analysis/job"
	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/dispatch"
	"coldweek/dashboards/note/render"
	"coldweek/dashboards/note/words"
	"coldweek/ingest/site"
)

// noteFlags are the command's flags.
type noteFlags struct {
	month, out, language string
	html, pdf, asJSON    bool
	engineer, all, keep  bool
	issue                int
}

func newNote(a *app) *cobra.Command {
	var f noteFlags
	c := &cobra.Command{
		Use:   "note SITE [--month MONTH]",
		Short: "Write what the homeowner gets each month, in plain language",
		Long: `Write the performance note of a month: what heat the house got, what it cost, how
efficient that was, what was noticed, and what is not known. It is printed as
text, or as --html or --pdf, and not kept. Without --month, it is last month's.

--draft keeps it as the draft that coldweek note release issues; --all does so for
every site, or with --out writes one file a site into a folder. coldweek serve
makes the drafts by itself once a month is over; see note: in the site record.
Where nobody watched a month, one note runs the rules over it, which takes longer;
--all does not, and such a note says that it was not watched.

--engineer adds the numbers behind it. --issue prints an issue as it was kept.`,
		Example: `  coldweek note mill-cottage --month 2026-01
  coldweek note mill-cottage --month 2026-01 --pdf --out january.pdf
  coldweek note --all --month 2026-01
  coldweek note release mill-cottage --month 2026-01
  coldweek note list`,
		Args: args(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			switch {
			case f.all && f.out == "" && (f.html || f.pdf || f.engineer):
				return usagef("with --all, --html, --pdf and --engineer say how files are written; say into which folder with --out")
			case f.all && len(given) == 0:
				return a.withHome(c.Context(), func(h home, st *stores) error { return a.allNotes(c.Context(), h, st, f) })
			case f.all:
				return usagef("--all is for every site; leave %q out", given[0])
			case len(given) == 0:
				return c.Help()
			}
			return a.withSite(c.Context(), given[0], func(h home, record *site.Record, st *stores) error {
				return a.oneNote(c.Context(), h, record, st, f)
			})
		},
	}
	f.register(c)
	c.AddCommand(newNoteRelease(a), newNoteList(a))
	return c
}

func (f *noteFlags) register(c *cobra.Command) {
	flags := c.Flags()
	flags.StringVar(&f.month, "month", "", "the month, as 2026-01; last month when left out")
	flags.BoolVar(&f.html, "html", false, "as a page")
	flags.BoolVar(&f.pdf, "pdf", false, "as PDF")
	flags.BoolVar(&f.asJSON, "json", false, "print JSON for other programs: the note with the source of each figure")
	flags.StringVar(&f.out, "out", "", "file to write to; with --all, folder")
	flags.StringVar(&f.language, "language", "", "such as de; that of the site record when left out")
	flags.BoolVar(&f.engineer, "engineer", false, "with the numbers behind it")
	flags.BoolVar(&f.keep, "draft", false, "keep it as the draft to be released")
	flags.BoolVar(&f.all, "all", false, "every site")
	flags.IntVar(&f.issue, "issue", 0, "print this issue as it was kept")
	c.MarkFlagsMutuallyExclusive("html", "pdf", "json")
	// An issue is as it was kept, and a draft goes to the archive in every form.
	c.MarkFlagsMutuallyExclusive("issue", "draft", "json")
	c.MarkFlagsMutuallyExclusive("issue", "json", "all")
	c.MarkFlagsMutuallyExclusive("issue", "draft", "engineer")
	c.MarkFlagsMutuallyExclusive("issue", "language")
	c.MarkFlagsMutuallyExclusive("draft", "out")
	c.MarkFlagsMutuallyExclusive("draft", "html", "pdf")
}

// notesDir holds the archive of notes.
func (h home) notesDir() string { return filepath.Join(h.dataDir(), "notes") }

// notes opens what writes notes into the archive.
func (h home) notes(st job.WatchStore) (dispatch.Writer, error) {
	kept, err := archive.Open(h.notesDir())
	return dispatch.Writer{Archive: kept, Store: st, Now: time.Now}, err
}

// parseMonth reads the month, which must be over in the site's zone; last month
// when nothing is given.
func parseMonth(text string, record *site.Record, now time.Time) (note.Month, error) {
	this := note.MonthOf(now.In(record.Zone()))
	if text == "" {
		return this.Before(1), nil
	}
	month, err := note.ParseMonth(text)
	if err != nil {
		return month, usageError{err}
	}
	if now.Before(month.Window(record).To) {
		return month, usagef("month %s is not over yet; the last that is over is %s", month, this.Before(1))
	}
	return month, nil
}

// oneNote prints a note, or keeps it as draft.
func (a *app) oneNote(ctx context.Context, h home, record *site.Record, st *stores, f noteFlags) error {
	month, err := parseMonth(f.month, record, time.Now())
	if err != nil {
		return err
	}
	w, err := h.notes(st)
	if err != nil {
		return err
	}
	if f.issue > 0 {
		content, err := w.Archive.File(record.ID, month, f.issue, f.file())
		if err != nil {
			return err
		}
		return a.writeNote(content, f)
	}
	facts, err := a.facts(ctx, w, record, month)
	if err != nil {
		return err
	}
	if f.keep {
		entry, err := w.Draft(facts, f.tag(record))
		if err == nil {
			fmt.Fprintf(a.out, "draft of issue %d kept; issue it with: coldweek note release %s --month %s\n", entry.Issue, record.ID, month)
		}
		return err
	}
	d, err := compose(facts, f, record)
	if err != nil {
		return err
	}
	content, err := f.render(d)
	if err != nil {
		return err
	}
	a.remark(d, f)
	return a.writeNote(content, f)
}

// facts gathers what the note says. Where nobody watched the month, the rules are
// run over it, as coldweek analyse does.
func (a *app) facts(ctx context.Context, w dispatch.Writer, record *site.Record, month note.Month) (*note.Facts, error) {
	bar := a.progress("days")
	defer bar.done()
	facts, err := w.Facts(ctx, record, month, bar.step)
	if err != nil || facts.Watched || facts.This.Coverage == 0 {
		return facts, err
	}
	found, err := job.History(ctx, w.Store, record, month.Window(record), bar.step)
	if err != nil {
		return nil, err
	}
	facts.Watched = true
	for _, finding := range found {
		facts.Findings = append(facts.Findings, note.Noticed{Finding: finding})
	}
	return facts, nil
}

func compose(facts *note.Facts, f noteFlags, record *site.Record) (*note.Document, error) {
	l, err := words.Load(f.tag(record))
	if err != nil {
		return nil, usageError{err}
	}
	facts.Engineer = f.engineer
	return note.Compose(facts, l), nil
}

func (f noteFlags) tag(record *site.Record) string {
	if f.language != "" {
		return f.language
	}
	return note.Language(record)
}

// file is the archive's name of the form asked for.
func (f noteFlags) file() string {
	switch {
	case f.html:
		return archive.HTMLFile
	case f.pdf:
		return archive.PDFFile
	}
	return archive.TextFile
}

func (f noteFlags) render(d *note.Document) ([]byte, error) {
	switch {
	case f.asJSON:
		var b bytes.Buffer
		err := writeJSON(&b, d)
		return b.Bytes(), err
	case f.html:
		return render.HTML(d)
	case f.pdf:
		return render.PDF(d)
	}
	return render.Plain(d), nil
}

func (a *app) writeNote(content []byte, f noteFlags) error {
	if file, ok := a.out.(*os.File); f.pdf && f.out == "" && ok && term.IsTerminal(int(file.Fd())) {
		return usagef("a PDF is not for the terminal; write it to a file with --out note.pdf")
	}
	out, done, err := a.output(f.out)
	if err != nil {
		return err
	}
	_, err = out.Write(content)
	return errors.Join(err, done())
}

// remark tells the engineer what the record lacks, beside the note.
func (a *app) remark(d *note.Document, f noteFlags) {
	if f.engineer || f.asJSON {
		return // it is in the note
	}
	for _, lack := range d.ForEngineer {
		fmt.Fprintf(a.err, "the site record lacks %s\n", lack)
	}
}
