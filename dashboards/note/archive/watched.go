package archive

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// Span is a time in which a site's readings were looked at for findings.
type Span struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// holes between spans are forgiven: a look sees back over them.
const holes = 24 * time.Hour

func (a *Archive) watchedPath(site string) string { return filepath.Join(a.dir, site, "watched.json") }

func (a *Archive) spans(site string) ([]Span, error) {
	var spans []Span
	err := readJSON(a.watchedPath(site), &spans)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return spans, err
}

// MarkWatched keeps that a site was looked at for findings in a span of time, so
// that a note may say that there were none.
func (a *Archive) MarkWatched(site string, span Span) error {
	return a.locked(func() error {
		spans, err := a.spans(site)
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Join(a.dir, site), 0o750); err != nil {
			return err
		}
		return writeJSON(a.watchedPath(site), joined(append(spans, span)))
	})
}

func joined(spans []Span) []Span {
	slices.SortFunc(spans, func(a, b Span) int { return a.From.Compare(b.From) })
	all := spans[:1]
	for _, s := range spans[1:] {
		last := &all[len(all)-1]
		if s.From.After(last.To.Add(holes)) {
			all = append(all, s)
		} else if s.To.After(last.To) {
			last.To = s.To
		}
	}
	return all
}

// Watched says whether a site was looked at for findings in all of a time.
func (a *Archive) Watched(site string, from, to time.Time) (bool, error) {
	spans, err := a.spans(site)
	for _, s := range spans {
		if !s.From.After(from.Add(holes)) && !s.To.Before(to.Add(-holes)) {
			return true, nil
		}
	}
	return false, err
}
