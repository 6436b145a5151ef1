package login

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/gofrs/flock"
	"github.com/moby/sys/atomicwriter"
)

// private is the mode of every file here.
const private fs.FileMode = 0o600

// replaceFile writes a file that only its owner may read, so that a reader, or a
// power cut, finds either the old or the new one.
func replaceFile(path string, text []byte) error {
	return atomicwriter.WriteFile(path, text, private)
}

// readPrivate returns nil for a file that does not exist. What others than the
// owner may write is not believed; exposed says that they may read it.
func readPrivate(path string) (text []byte, exposed bool, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		return nil, false, err
	}
	mode := info.Mode().Perm()
	if mode&0o022 != 0 {
		return nil, true, fmt.Errorf("%s may be written by others than its owner (mode %#o), so it is not believed; look it through, then: chmod 600 %[1]s", path, mode)
	}
	text, err = io.ReadAll(f)
	return text, mode&0o044 != 0, err
}

// alone does work on a file that no other process does work on meanwhile.
func alone(path string, work func() error) (err error) {
	lock := flock.New(path+".lock", flock.SetPermissions(private))
	if err := lock.Lock(); err != nil {
		return fmt.Errorf("lock %s: %w", path, err)
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	return work()
}
