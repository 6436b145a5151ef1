package load

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// mark is a small file that remembers how far the load of one file into one
// site came. It is written after each batch and removed at the end: it never
// keeps a finished load from being run again, which is harmless, and would be
// wrong after the store was restored from an older copy.
type mark struct {
	path     string
	identity string // of the file's content, as far as that is cheap to tell
}

// progress is what a mark holds.
type progress struct {
	Identity string    `json:"identity"`
	Offset   int64     `json:"offset"` // bytes of the unpacked text that are done
	Line     int64     `json:"line"`
	Done     Result    `json:"done"`
	Clock    wallClock `json:"clock"`
	Refusals []int64   `json:"refusals"` // by column, that of times first
}

// markedHead is how much of a file is part of its identity.
const markedHead = 1 << 16

func newMark(folder, siteID, path string, f io.ReaderAt, info fs.FileInfo) (*mark, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	head := make([]byte, markedHead)
	n, err := f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	name := sha256.Sum256([]byte(siteID + "\x00" + absolute))
	return &mark{
		path:     filepath.Join(folder, "load-"+hex.EncodeToString(name[:8])+".json"),
		identity: fmt.Sprintf("%d %d %x", info.Size(), info.ModTime().UnixNano(), sha256.Sum256(head[:n])),
	}, nil
}

// identify adds to the file's identity how it is read: with another mapping
// or zone, what is loaded already is not what would be loaded now.
func (m *mark) identify(lay *layout, opts Options) string {
	return fmt.Sprintf("%s %s zone %v", m.identity, lay.digest(), opts.Zone)
}

// read returns the progress, unless there is none or it is of another file.
func (m *mark) read(lay *layout, opts Options) (progress, bool) {
	data, err := os.ReadFile(m.path)
	if err != nil {
		return progress{}, false
	}
	var p progress
	if err := json.Unmarshal(data, &p); err != nil || p.Identity != m.identify(lay, opts) || len(p.Refusals) != len(lay.all()) {
		return progress{}, false
	}
	return p, true
}

// write replaces the mark. It is not forced to disk: when it is lost, rows are
// loaded once more, and a torn one cannot be read.
func (m *mark) write(p progress, lay *layout, opts Options) error {
	p.Identity = m.identify(lay, opts)
	data, err := json.Marshal(p)
	if err != nil {
		return err
	}
	fresh := m.path + ".new"
	if err := os.WriteFile(fresh, data, 0o600); err != nil {
		return err
	}
	return os.Rename(fresh, m.path)
}

func (m *mark) remove() { os.Remove(m.path) }
