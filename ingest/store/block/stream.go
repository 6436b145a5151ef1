package block

import (
	"encoding/binary"
	"errors"
	"math/bits"

	"coldweek/ingest/store/decoding"
)

// A stream is a list of whole numbers, coded one of two ways, whichever is
// shorter. Arithmetic wraps, so any int64 goes in.
//
//	runs:   (length uvarint, difference varint)..., a run of equal differences
//	packed: groups of 64, each: header byte (width, and whether numbers or
//	        differences are packed), base varint, width bits a number
const (
	codedAsRuns = iota
	codedPacked
)

const (
	groupSize    = 64
	packsNumbers = 0x80 // header flag: numbers less their minimum; else differences less theirs
	maxShift     = 57   // widest number one unaligned 64-bit load can hold
)

func appendStream(dst []byte, numbers []int64) []byte {
	start := len(dst)
	dst = append(dst, codedPacked)
	dst = appendPacked(dst, numbers)
	packed := len(dst)
	dst, ok := appendRuns(append(dst, codedAsRuns), numbers, 2*packed-start)
	if !ok {
		return dst[:packed]
	}
	return dst[:start+copy(dst[start:], dst[packed:])]
}

// appendRuns gives up, with false, when dst reaches limit.
func appendRuns(dst []byte, numbers []int64, limit int) ([]byte, bool) {
	last := int64(0)
	for i := 0; i < len(numbers); {
		step := numbers[i] - last
		run := 0
		for i < len(numbers) && numbers[i]-last == step {
			last = numbers[i]
			run++
			i++
		}
		dst = binary.AppendUvarint(dst, uint64(run))
		dst = binary.AppendVarint(dst, step)
		if len(dst) >= limit {
			return dst, false
		}
	}
	return dst, true
}

func appendPacked(dst []byte, numbers []int64) []byte {
	last := int64(0)
	for len(numbers) > 0 {
		n := min(groupSize, len(numbers))
		dst = appendGroup(dst, numbers[:n], last)
		last = numbers[n-1]
		numbers = numbers[n:]
	}
	return dst
}

// appendGroup packs the numbers themselves where noise sits on a level, and
// their differences where they climb.
func appendGroup(dst []byte, numbers []int64, last int64) []byte {
	low, high := numbers[0], numbers[0]
	lowStep, highStep := numbers[0]-last, numbers[0]-last
	for i := 1; i < len(numbers); i++ {
		low, high = min(low, numbers[i]), max(high, numbers[i])
		step := numbers[i] - numbers[i-1]
		lowStep, highStep = min(lowStep, step), max(highStep, step)
	}
	width, stepWidth := widthOf(low, high), widthOf(lowStep, highStep)
	var group [groupSize]uint64
	if width <= stepWidth {
		for i, x := range numbers {
			group[i] = uint64(x - low)
		}
		dst = binary.AppendVarint(append(dst, packsNumbers|byte(width)), low-last)
		return appendBits(dst, group[:len(numbers)], width)
	}
	for i, x := range numbers {
		group[i] = uint64(x - last - lowStep)
		last = x
	}
	dst = binary.AppendVarint(append(dst, byte(stepWidth)), lowStep)
	return appendBits(dst, group[:len(numbers)], stepWidth)
}

func widthOf(low, high int64) int {
	if w := bits.Len64(uint64(high - low)); w <= maxShift {
		return w
	}
	return 64
}

func packedSize(count, width int) int { return (count*width + 7) / 8 }

func appendBits(dst []byte, numbers []uint64, width int) []byte {
	var pending uint64
	held := 0
	end := len(dst) + packedSize(len(numbers), width)
	for _, x := range numbers {
		pending |= x << held
		held += width
		if held >= 64 {
			dst = binary.LittleEndian.AppendUint64(dst, pending)
			held -= 64
			pending = x >> (width - held) // a shift of 64 gives 0
		}
	}
	return binary.LittleEndian.AppendUint64(dst, pending)[:end]
}

// reader takes a block apart.
type reader struct{ decoding.Reader }

// groups walks through a stream, 64 numbers at a time.
type groups struct {
	numbers [groupSize]int64
	n       int // how many of numbers count, groupSize but for the last group
	left    int
	coding  byte
	last    int64
	step    int64
	runLeft uint64
}

// groups starts the next stream, of count numbers.
func (r *reader) groups(count int) groups {
	g := groups{left: count, coding: r.Byte()}
	if g.coding > codedPacked {
		r.Fail(errors.New("unknown stream coding"))
	}
	return g
}

// next reads the next group and says whether there was one.
func (g *groups) next(r *reader) bool {
	if g.left == 0 && g.runLeft > 0 {
		r.Fail(errors.New("a run is longer than the block"))
	}
	if g.left == 0 || r.Err != nil {
		return false
	}
	g.n = min(groupSize, g.left)
	g.left -= g.n
	if g.coding == codedPacked {
		g.unpack(r)
	} else {
		g.unroll(r)
	}
	return r.Err == nil
}

func (g *groups) unroll(r *reader) {
	for part := g.numbers[:g.n]; len(part) > 0; {
		if g.runLeft == 0 {
			g.runLeft, g.step = r.Uvarint(), r.Varint()
		}
		if g.runLeft == 0 {
			r.Fail(decoding.ErrShort)
			return
		}
		run := min(g.runLeft, uint64(len(part)))
		for i := range part[:run] {
			g.last += g.step
			part[i] = g.last
		}
		g.runLeft -= run
		part = part[run:]
	}
}

func (g *groups) unpack(r *reader) {
	header, base := r.Byte(), r.Varint()
	width := int(header &^ packsNumbers)
	if width > maxShift && width != 64 {
		r.Fail(errors.New("impossible width"))
		return
	}
	size := packedSize(g.n, width)
	ahead := r.Rest
	if r.Take(uint64(size)); r.Err != nil {
		return
	}
	unpack(ahead, size, width, &g.numbers)
	if header&packsNumbers != 0 {
		base += g.last
		for i := range g.numbers {
			g.numbers[i] += base
		}
	} else {
		last := g.last
		for i := range g.numbers {
			last += g.numbers[i] + base
			g.numbers[i] = last
		}
	}
	g.last = g.numbers[g.n-1]
}

// unpack reads all 64 numbers of a group, those beyond a short last group
// being rubbish. A load may reach 8 bytes past size; where src ends before,
// it is copied first.
func unpack(src []byte, size, width int, out *[groupSize]int64) {
	const loads = groupSize * 8
	if width == 0 {
		*out = [groupSize]int64{}
		return
	}
	if len(src) < width*8+8 {
		var padded [loads + 8]byte
		copy(padded[:], src[:size])
		src = padded[:]
	}
	if width == 64 {
		for i := range out {
			out[i] = int64(binary.LittleEndian.Uint64(src[i*8:]))
		}
		return
	}
	mask := uint64(1)<<width - 1
	src = src[:width*8+8]
	at := 0
	for i := range out {
		out[i] = int64(binary.LittleEndian.Uint64(src[at>>3:]) >> (at & 7) & mask)
		at += width
	}
}
