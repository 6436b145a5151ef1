// Package block packs one channel's readings of one day into bytes and back,
// bit for bit.
//
// Plant data is regular in time and quantised in value: a sensor has steps, a
// clock ticks. So times are written as runs of equal intervals, and values as
// whole numbers of steps (decimal fractions, or ranks among the day's distinct
// values, or the ordered bits of the float when neither is shorter), packed in
// groups of 64 with no more bits than the group needs. That is about half a
// byte a reading for a noisy temperature, and quick to undo; a general
// compressor on top finds nothing worth its time.
//
// Nothing is assumed: every value is compared with what decoding would give
// before its coding is chosen, so a negative zero and the last bit of a
// converted unit survive.
//
// Layout, version 1 (varints as in encoding/binary):
//
//	version byte, count uvarint, length uvarint of the times that follow,
//	first time varint, tick uvarint, stream of ticks since the first time,
//	value coding byte and what that coding needs (see values.go),
//	CRC-32C of all before, little endian
//
// Channels that come in one message have the same times, and then the same
// bytes up to the value coding: SameTimes tells, and DecodeValues skips them.
package block

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"

	"coldweek/ingest/store/decoding"
)

// MaxReadings is the most one block holds: a reading every 20 ms for a day. It
// bounds what a damaged block can make Decode allocate.
const MaxReadings = 1 << 22

const (
	version      = 1
	checksumSize = 4
)

// ErrCorrupt is wrapped by every error of Decode.
var ErrCorrupt = errors.New("corrupt block")

// ErrTooMany is wrapped by Append's error for more than MaxReadings.
var ErrTooMany = errors.New("too many readings for one block")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Append packs the readings and appends the block to dst. Times are Unix
// milliseconds, strictly ascending; values are finite; both have the same
// length. On error dst is returned as it was.
func Append(dst []byte, unixMS []int64, values []float64) ([]byte, error) {
	if err := check(unixMS, values); err != nil {
		return dst, fmt.Errorf("pack block: %w", err)
	}
	start := len(dst)
	out := append(dst, version)
	out = binary.AppendUvarint(out, uint64(len(unixMS)))
	if len(unixMS) > 0 {
		times := appendTimes(nil, unixMS)
		out = binary.AppendUvarint(out, uint64(len(times)))
		out = append(out, times...)
		out = appendValues(out, values)
	}
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out[start:], castagnoli)), nil
}

func check(unixMS []int64, values []float64) error {
	if len(unixMS) != len(values) {
		return fmt.Errorf("%d times for %d values", len(unixMS), len(values))
	}
	if len(unixMS) > MaxReadings {
		return fmt.Errorf("%d readings: %w (%d)", len(unixMS), ErrTooMany, MaxReadings)
	}
	for i, v := range values {
		if !finite(v) {
			return fmt.Errorf("value %d is %g; only finite values can be kept", i, v)
		}
		if i > 0 && unixMS[i] <= unixMS[i-1] {
			return fmt.Errorf("time %d (%d) does not follow %d; times must ascend", i, unixMS[i], unixMS[i-1])
		}
	}
	return nil
}

const exponentBits = 0x7ff << 52

func finite(v float64) bool { return math.Float64bits(v)&exponentBits != exponentBits }

// appendTimes writes times as ticks, a tick being the greatest common divisor
// of all intervals: a clock of whole seconds costs no bits for milliseconds.
func appendTimes(dst []byte, unixMS []int64) []byte {
	first := unixMS[0]
	tick := uint64(0)
	for i := 1; i < len(unixMS) && tick != 1; i++ {
		tick = divisor(tick, uint64(unixMS[i]-unixMS[i-1]))
	}
	tick = max(tick, 1)
	ticks := make([]int64, len(unixMS))
	for i, t := range unixMS {
		ticks[i] = int64(uint64(t-first) / tick)
	}
	dst = binary.AppendVarint(dst, first)
	dst = binary.AppendUvarint(dst, tick)
	return appendStream(dst, ticks)
}

func divisor(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// Decode unpacks a block into dstMS and dstValues, reusing their capacity from
// the start: their old content is overwritten. It needs no more memory than
// the readings take.
func Decode(src []byte, dstMS []int64, dstValues []float64) ([]int64, []float64, error) {
	o, err := take(src)
	if err == nil {
		dstMS, err = o.decodeTimes(dstMS)
	}
	if err == nil {
		dstValues, err = o.decodeValues(dstValues)
	}
	if err != nil {
		return dstMS[:0], dstValues[:0], corrupt(src, err)
	}
	return dstMS, dstValues, nil
}

// DecodeValues is Decode for a caller who has the times from another block.
func DecodeValues(src []byte, dst []float64) ([]float64, error) {
	o, err := take(src)
	if err == nil {
		dst, err = o.decodeValues(dst)
	}
	if err != nil {
		return dst[:0], corrupt(src, err)
	}
	return dst, nil
}

func corrupt(src []byte, err error) error {
	return fmt.Errorf("unpack block of %d bytes: %w: %w", len(src), ErrCorrupt, err)
}

// SameTimes says whether two blocks, if sound, hold readings at the same times.
func SameTimes(a, b []byte) bool {
	x, xErr := split(a)
	y, yErr := split(b)
	return xErr == nil && yErr == nil && x.count == y.count && bytes.Equal(x.times, y.times)
}

// opened is a block whose parts have been found.
type opened struct {
	count         int
	times, values []byte
}

// take checks that the block is sound and splits it.
func take(src []byte) (opened, error) {
	body := len(src) - checksumSize
	if body < 2 {
		return opened{}, decoding.ErrShort
	}
	if sum := crc32.Checksum(src[:body], castagnoli); sum != binary.LittleEndian.Uint32(src[body:]) {
		return opened{}, errors.New("checksum does not fit")
	}
	return split(src)
}

func split(src []byte) (opened, error) {
	r := reader{decoding.Reader{Rest: src[:max(0, len(src)-checksumSize)]}}
	if v := r.Byte(); v != version {
		return opened{}, fmt.Errorf("version %d; this program reads version %d", v, version)
	}
	count := r.Uvarint()
	if count > MaxReadings {
		return opened{}, fmt.Errorf("%d readings are beyond %d", count, MaxReadings)
	}
	o := opened{count: int(count)}
	if count > 0 {
		o.times = r.Take(r.Uvarint())
	}
	o.values = r.Rest
	return o, r.Err
}

func (o opened) decodeTimes(dst []int64) ([]int64, error) {
	dst = sized(dst, o.count)
	r := reader{decoding.Reader{Rest: o.times}}
	if o.count > 0 {
		r.times(dst)
	}
	return dst, r.End()
}

func (o opened) decodeValues(dst []float64) ([]float64, error) {
	dst = sized(dst, o.count)
	r := reader{decoding.Reader{Rest: o.values}}
	if o.count > 0 {
		r.values(dst)
	}
	return dst, r.End()
}

// sized returns a slice of length n, of s when that has the room.
func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

func (r *reader) times(out []int64) {
	first, tick := r.Varint(), int64(r.Uvarint())
	started, last := false, int64(0)
	for g := r.groups(len(out)); g.next(r); out = out[g.n:] {
		part := out[:g.n]
		for i := range part {
			part[i] = first + g.numbers[i&(groupSize-1)]*tick
		}
		ascending := !started || part[0] > last
		for i := 1; i < len(part); i++ {
			ascending = ascending && part[i] > part[i-1]
		}
		if !ascending {
			r.Fail(errors.New("times do not ascend"))
		}
		started, last = true, part[len(part)-1]
	}
}
