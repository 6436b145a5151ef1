// Package archive keeps the performance notes of a deployment in its data folder:
// what was issued, byte for byte, and drafts that wait for the engineer.
//
//	notes/SITE/2026-01/draft/   the draft, as the engineer looks at it
//	notes/SITE/2026-01/1/       the first issue; 2/ replaces it
//	notes/.letters/2026-01/     what tells engineers that drafts wait
//
// A note is a folder of files and an entry.json that names them with their sums.
// A folder appears whole or not at all, and an issue is never written to again;
// only mail.json beside its files, which says how far it went out, is.
package archive

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"github.com/gofrs/flock"

	"coldweek/dashboards/note"
)

// The files of a note.
const (
	HTMLFile     = "note.html"
	MailHTMLFile = "mail.html"
	PDFFile      = "note.pdf"
	TextFile     = "note.txt"
	EngineerFile = "engineer.html" // with the numbers behind it; never for the homeowner
)

const (
	entryFile = "entry.json"
	mailFile  = "mail.json"
	draftDir  = "draft"
)

// Entry is a draft or an issue.
type Entry struct {
	Site       string               `json:"site"`
	Month      string               `json:"month"`
	Issue      int                  `json:"issue"` // that it is, or would be
	Language   string               `json:"language"`
	Subject    string               `json:"subject"`
	Written    time.Time            `json:"written"`
	Released   time.Time            `json:"released,omitzero"` // zero: a draft
	ReleasedBy string               `json:"released_by,omitempty"`
	Coverage   float64              `json:"coverage"`
	Figures    map[string]note.Main `json:"figures"`
	Told       []string             `json:"told,omitempty"`    // titles of the findings that it tells of
	Missing    []string             `json:"missing,omitempty"` // main figures that are not known
	Sums       map[string]string    `json:"sha256"`            // of the files, by name
}

// IsDraft says whether it has not been released.
func (e *Entry) IsDraft() bool { return e.Released.IsZero() }

// State is how far an issue went out.
type State string

// The states.
const (
	Waiting  State = "waiting"  // to be sent
	Sent     State = "sent"     // the mail server has taken it
	Refused  State = "refused"  // the mail server will not have it
	NotAsked State = "not sent" // nobody to send it to
)

// Mail is what became of an issue's e-mail.
type Mail struct {
	State State     `json:"state"`
	To    string    `json:"to,omitempty"`
	Name  string    `json:"name,omitempty"`
	Reply string    `json:"reply_to,omitempty"`
	At    time.Time `json:"at,omitzero"` // when it came to that
	Next  time.Time `json:"next,omitzero"`
	Tries int       `json:"tries,omitempty"`
	Why   string    `json:"why,omitempty"`
}

// Archive is the folder.
type Archive struct{ dir string }

// Open makes the folder if need be.
func Open(dir string) (*Archive, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("make archive of notes: %w", err)
	}
	return &Archive{dir}, nil
}

// ErrNone is wrapped where there is no such note.
var ErrNone = errors.New("there is no such note")

func (a *Archive) month(site string, month note.Month) string {
	return filepath.Join(a.dir, site, month.String())
}

// locked does the work while no other process writes to the archive.
func (a *Archive) locked(work func() error) error {
	lock := flock.New(filepath.Join(a.dir, ".lock"))
	if err := lock.Lock(); err != nil {
		return fmt.Errorf("lock archive of notes: %w", err)
	}
	defer func() { _ = lock.Unlock() }()
	return work()
}

// PutDraft keeps a draft in place of the one before. Its issue is set to the next.
func (a *Archive) PutDraft(month note.Month, e Entry, files map[string][]byte) (Entry, error) {
	err := a.locked(func() error {
		if err := a.checkNext(e, month); err != nil {
			return err
		}
		e.Released, e.Sums = time.Time{}, map[string]string{}
		for name, content := range files {
			sum := sha256.Sum256(content)
			e.Sums[name] = hex.EncodeToString(sum[:])
		}
		return a.write(filepath.Join(a.month(e.Site, month), draftDir), e, files)
	})
	if err != nil {
		return e, fmt.Errorf("keep draft of %s for site %q: %w", month, e.Site, err)
	}
	return e, nil
}

// checkNext sees that a draft is of the issue that comes next.
func (a *Archive) checkNext(e Entry, month note.Month) error {
	issues, err := a.Issues(e.Site, month)
	if err != nil {
		return err
	}
	if next := len(issues) + 1; e.Issue != next {
		return fmt.Errorf("the draft is of issue %d, but the next is %d; make it again", e.Issue, next)
	}
	return nil
}

// write makes a folder whole: beside its place, then moved there.
func (a *Archive) write(place string, e Entry, files map[string][]byte) error {
	parent := filepath.Dir(place)
	if err := os.MkdirAll(parent, 0o750); err != nil {
		return err
	}
	fresh, err := os.MkdirTemp(parent, ".new-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(fresh) }() // gone when all went well
	for name, content := range files {
		if err := writeFile(filepath.Join(fresh, name), content); err != nil {
			return err
		}
	}
	if err := writeJSON(filepath.Join(fresh, entryFile), e); err != nil {
		return err
	}
	if err := syncDir(fresh); err != nil {
		return err
	}
	// A draft in its place goes first; if all ends between the two moves there is
	// no draft, and one is made again.
	if err := os.RemoveAll(place); err != nil {
		return err
	}
	if err := os.Rename(fresh, place); err != nil {
		return err
	}
	return syncDir(parent)
}

// Draft returns the month's draft.
func (a *Archive) Draft(site string, month note.Month) (Entry, error) {
	var e Entry
	err := readJSON(filepath.Join(a.month(site, month), draftDir, entryFile), &e)
	return e, missing(err, "draft", site, month)
}

func missing(err error, what, site string, month note.Month) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s of %s for site %q: %w", what, month, site, ErrNone)
	}
	return err
}

// Release makes the draft the next issue, byte for byte, and queues it to be sent
// to an address unless that is empty.
func (a *Archive) Release(site string, month note.Month, by string, at time.Time, to Mail) (Entry, error) {
	var e Entry
	err := a.locked(func() error {
		var err error
		if e, err = a.Draft(site, month); err != nil {
			return err
		}
		if err := a.checkNext(e, month); err != nil {
			return err
		}
		if !e.IsDraft() { // a release that was cut short: it counts
			return a.settle(site, month, e)
		}
		e.Released, e.ReleasedBy = at, by
		to.State, to.At = Waiting, at
		if to.To == "" {
			to.State, to.Why = NotAsked, "the site record has no contact.homeowner_email"
		}
		return a.move(site, month, e, to)
	})
	if err != nil {
		return e, fmt.Errorf("release note of %s for site %q: %w", month, site, err)
	}
	return e, nil
}

// move writes what the release adds into the draft's folder, then moves it: until
// then it is a draft, whatever is in it.
func (a *Archive) move(site string, month note.Month, e Entry, to Mail) error {
	draft := filepath.Join(a.month(site, month), draftDir)
	if err := writeJSON(filepath.Join(draft, mailFile), to); err != nil {
		return err
	}
	if err := writeJSON(filepath.Join(draft, entryFile), e); err != nil {
		return err
	}
	if err := syncDir(draft); err != nil {
		return err
	}
	return a.settle(site, month, e)
}

// settle gives a released draft its place among the issues.
func (a *Archive) settle(site string, month note.Month, e Entry) error {
	dir := a.month(site, month)
	if err := os.Rename(filepath.Join(dir, draftDir), filepath.Join(dir, strconv.Itoa(e.Issue))); err != nil {
		return err
	}
	return syncDir(dir)
}

// Settle ends a release that was cut short.
func (a *Archive) Settle(site string, month note.Month) error {
	return a.locked(func() error {
		e, err := a.Draft(site, month)
		if errors.Is(err, ErrNone) || err == nil && e.IsDraft() {
			return nil
		}
		if err != nil {
			return err
		}
		return a.settle(site, month, e)
	})
}

// Issues are those of a month, in their order.
func (a *Archive) Issues(site string, month note.Month) ([]Entry, error) {
	var issues []Entry
	for n := 1; ; n++ {
		var e Entry
		err := readJSON(filepath.Join(a.month(site, month), strconv.Itoa(n), entryFile), &e)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return issues, nil
		case err != nil:
			return nil, err
		}
		issues = append(issues, e)
	}
}

// File returns a file of an issue, or of the draft for issue 0, and sees that it
// is what was kept.
func (a *Archive) File(site string, month note.Month, issue int, name string) ([]byte, error) {
	dir := filepath.Join(a.month(site, month), draftDir)
	if issue > 0 {
		dir = filepath.Join(a.month(site, month), strconv.Itoa(issue))
	}
	var e Entry
	if err := readJSON(filepath.Join(dir, entryFile), &e); err != nil {
		return nil, missing(err, fmt.Sprintf("issue %d", issue), site, month)
	}
	content, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return nil, fmt.Errorf("read note: %w", err)
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != e.Sums[name] {
		return nil, fmt.Errorf("%s is not what was kept: its sum differs from that in %s", filepath.Join(dir, name), entryFile)
	}
	return content, nil
}

// Mail returns what became of an issue's e-mail.
func (a *Archive) Mail(e Entry) (Mail, error) {
	var m Mail
	err := readJSON(a.mailPath(e), &m)
	return m, err
}

// SetMail keeps what became of an issue's e-mail; it is on disk when this returns.
func (a *Archive) SetMail(e Entry, m Mail) error {
	if err := writeJSON(a.mailPath(e), m); err != nil {
		return err
	}
	return syncDir(filepath.Dir(a.mailPath(e)))
}

func (a *Archive) mailPath(e Entry) string {
	return filepath.Join(a.dir, e.Site, e.Month, strconv.Itoa(e.Issue), mailFile)
}

// List returns every draft and issue, of one site or of all for "", by site, month
// and issue.
func (a *Archive) List(site string) ([]Entry, error) {
	pattern := site
	if site == "" {
		pattern = "*"
	}
	paths, err := filepath.Glob(filepath.Join(a.dir, pattern, "????-??", "*", entryFile))
	if err != nil {
		return nil, err
	}
	var entries []Entry
	for _, path := range paths {
		if filepath.Base(filepath.Dir(path))[0] == '.' {
			continue // not whole
		}
		var e Entry
		if err := readJSON(path, &e); err != nil {
			return nil, err
		}
		entries = append(entries, e)
	}
	slices.SortStableFunc(entries, compare)
	return entries, nil
}
