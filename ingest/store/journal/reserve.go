package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"syscall"
)

// A full disk must not keep the journal from being worked off, which is what
// makes room, and to forget a batch is to write first. So a file beside the
// journal holds some room: given back when forgetting fails for want of it, and
// taken again before anything more is appended.
type reserve struct{ path string }

// reserveSize is enough for what the log can hold (logPages) to go into
// the file, and for a few batches to be forgotten.
const (
	reserveSize = 8 << 20
	logPages    = 500
)

// take makes sure that the room is held.
func (r reserve) take() error {
	if r.held() {
		return nil
	}
	err := os.WriteFile(r.path, ballast(), 0o600)
	if err == nil {
		return nil
	}
	err = errors.Join(err, os.Remove(r.path)) // not to hold what helps nobody
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return fmt.Errorf("%w: %w", ErrFull, err)
	}
	return err
}

func (r reserve) held() bool {
	info, err := os.Stat(r.path)
	return err == nil && info.Size() >= reserveSize
}

// ballast are bytes that no file system packs into fewer.
func ballast() []byte {
	var data bytes.Buffer
	source := rand.NewChaCha8([32]byte{})
	var part [4096]byte
	for data.Len() < reserveSize {
		source.Read(part[:])
		data.Write(part[:])
	}
	return data.Bytes()
}

// release gives the room back and says whether there was some.
func (r reserve) release() bool { return os.Remove(r.path) == nil }

// whenFull runs do, and once more with the reserve's room if the disk is full.
func (r reserve) whenFull(do func() error) error {
	err := do()
	if errors.Is(err, ErrFull) && r.release() {
		err = do()
	}
	return err
}

// regain gives free pages back to the disk until the reserve can be taken
// again. It does not matter if it cannot: then nothing is appended.
func (j *Journal) regain(ctx context.Context) error {
	for errors.Is(j.reserve.take(), ErrFull) {
		pages, free, err := j.pages(ctx)
		if err != nil || free == 0 {
			return err
		}
		if err := j.vacuum(ctx, vacuumStep); err != nil {
			return err
		}
		if err := j.checkpoint(ctx); err != nil {
			return err
		}
		if left, _, err := j.pages(ctx); err != nil || left >= pages {
			return err
		}
	}
	return nil
}
