package archive

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"coldweek/dashboards/note"
)

// Letter tells an engineer, once a month, which drafts wait. It is kept whole, so
// that every try sends the same.
type Letter struct {
	Engineer string    `json:"engineer"`
	Month    string    `json:"month"`
	Written  time.Time `json:"written"`
	Subject  string    `json:"subject"`
	Text     string    `json:"text"`
	HTML     string    `json:"html"`
	Mail     Mail      `json:"mail"`
}

// ID is the letter's alone, and the same however often it is asked for.
func (l *Letter) ID() string { return "drafts." + l.Month + "." + nameOf(l.Engineer) }

// nameOf makes a file name of any name.
func nameOf(engineer string) string {
	sum := sha256.Sum256([]byte(engineer))
	return hex.EncodeToString(sum[:8])
}

func (a *Archive) letterPath(month, engineer string) string {
	return filepath.Join(a.dir, ".letters", month, nameOf(engineer)+".json")
}

// HasLetter says whether an engineer's letter of a month was written.
func (a *Archive) HasLetter(month note.Month, engineer string) (bool, error) {
	_, err := os.Stat(a.letterPath(month.String(), engineer))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

// PutLetter keeps a letter, in the place of that of the same engineer and month; it
// is on disk when this returns.
func (a *Archive) PutLetter(l Letter) error {
	path := a.letterPath(l.Month, l.Engineer)
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return err
	}
	if err := writeJSON(path, l); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// Letters returns every letter, by month.
func (a *Archive) Letters() ([]Letter, error) {
	paths, err := filepath.Glob(filepath.Join(a.dir, ".letters", "????-??", "[0-9a-f]*.json"))
	if err != nil {
		return nil, err
	}
	var letters []Letter
	for _, path := range paths {
		var l Letter
		if err := readJSON(path, &l); err != nil {
			return nil, err
		}
		letters = append(letters, l)
	}
	return letters, nil
}
