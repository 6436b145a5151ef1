// Package decoding takes coded bytes apart, for the forms in which stores keep
// readings.
package decoding

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// ErrShort says that bytes are missing.
var ErrShort = errors.New("cut off")

// Reader reads from the front of Rest; the first error sticks and empties it, and
// what is read from then on is zero.
type Reader struct {
	Rest []byte
	Err  error
}

// Fail makes an error the Reader's, unless it has one.
func (r *Reader) Fail(err error) {
	if r.Err == nil {
		r.Err = err
	}
	r.Rest = nil
}

// Byte reads one byte.
func (r *Reader) Byte() byte {
	if len(r.Rest) == 0 {
		r.Fail(ErrShort)
		return 0
	}
	b := r.Rest[0]
	r.Rest = r.Rest[1:]
	return b
}

// Uvarint reads what binary.AppendUvarint wrote.
func (r *Reader) Uvarint() uint64 {
	x, n := binary.Uvarint(r.Rest)
	if n <= 0 {
		r.Fail(ErrShort)
		return 0
	}
	r.Rest = r.Rest[n:]
	return x
}

// Varint reads what binary.AppendVarint wrote.
func (r *Reader) Varint() int64 {
	x, n := binary.Varint(r.Rest)
	if n <= 0 {
		r.Fail(ErrShort)
		return 0
	}
	r.Rest = r.Rest[n:]
	return x
}

// Take reads n bytes; they are not copied.
func (r *Reader) Take(n uint64) []byte {
	if n > uint64(len(r.Rest)) {
		r.Fail(ErrShort)
		return nil
	}
	b := r.Rest[:n]
	r.Rest = r.Rest[n:]
	return b
}

// End returns the first error; bytes left over are one.
func (r *Reader) End() error {
	if r.Err == nil && len(r.Rest) > 0 {
		r.Err = fmt.Errorf("%d bytes too many", len(r.Rest))
	}
	return r.Err
}
