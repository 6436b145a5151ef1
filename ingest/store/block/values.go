package block

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// How values become whole numbers:
//
//	decimal: exponent byte; stream of k with value = k / 10^exponent; if the
//	         exponent's nudged flag is set, stream of what to add to the float's
//	         bits, for values that went through a unit conversion; exceptions:
//	         count uvarint, then each the gap uvarint since the one before and
//	         the float's bits
//	ranked:  count uvarint, the distinct values in ascending order as 8 bytes
//	         each; stream of ranks
//	ordered: shift byte; stream of the floats' bits, without the low zero bits
//	         all have in common, made to ascend with the value
const (
	valuesDecimal = iota
	valuesRanked
	valuesOrdered
)

const (
	maxExponent   = 10
	nudged        = 0x80
	maxNudge      = 4    // in units of the last place
	sampled       = 512  // values looked at to choose an exponent
	exceptionSize = 10   // bytes, about
	maxDistinct   = 4096 // beyond, ranks do not pay
	digitSize     = 0.42 // bytes a decimal digit costs: log2(10)/8
	goodEnough    = 0.75 // bytes a reading below which nothing else is tried
	signBit       = 1 << 63
	maxZeroBits   = 62
)

var powersOfTen = [maxExponent + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10}

func appendValues(dst []byte, values []float64) []byte {
	start := len(dst)
	enough := start + 64 + int(goodEnough*float64(len(values)))
	best, ok := appendDecimal(dst, values)
	if ok && len(best) <= enough {
		return best
	}
	candidates := make([][]byte, 0, 3)
	if ok {
		candidates = append(candidates, best[start:])
	}
	if ranked, ok := appendRanked(nil, values); ok {
		candidates = append(candidates, ranked)
	}
	candidates = append(candidates, appendOrdered(nil, values))
	shortest := slices.MinFunc(candidates, func(a, b []byte) int { return len(a) - len(b) })
	return append(best[:start], shortest...)
}

// nearest returns the whole number of 10^-exponent nearest to v, and what is
// to be added to that decimal's bits to get v's. False when they are too far
// apart, as for a negative zero.
func nearest(v float64, exponent int) (k, nudge int64, ok bool) {
	scaled := v * powersOfTen[exponent]
	if !(math.Abs(scaled) < 1<<53) {
		return 0, 0, false
	}
	k = int64(math.RoundToEven(scaled))
	nudge = int64(math.Float64bits(v) - math.Float64bits(float64(k)/powersOfTen[exponent]))
	return k, nudge, -maxNudge <= nudge && nudge <= maxNudge
}

// chooseExponent weighs the digits every value would carry against the
// exceptions that have more.
func chooseExponent(values []float64) int {
	var fitting [maxExponent + 1]int // how many need just that exponent
	stride := (len(values) + sampled - 1) / sampled
	looked := 0
	for i := 0; i < len(values); i += stride {
		looked++
		for e := range fitting {
			if _, _, ok := nearest(values[i], e); ok {
				fitting[e]++
				break
			}
		}
	}
	best, bestCost := 0, math.Inf(1)
	without := looked
	for e, n := range fitting {
		without -= n
		cost := float64(without)*exceptionSize + float64(looked*e)*digitSize
		if cost < bestCost {
			best, bestCost = e, cost
		}
	}
	return best
}

// appendDecimal returns false when too many values are no decimals.
func appendDecimal(dst []byte, values []float64) ([]byte, bool) {
	exponent := chooseExponent(values)
	ks, nudges := make([]int64, len(values)), make([]int64, len(values))
	var exceptions []int
	flags := byte(0)
	for i, v := range values {
		k, nudge, ok := nearest(v, exponent)
		if !ok {
			if exceptions = append(exceptions, i); len(exceptions) > len(values)/8+1 {
				return dst, false
			}
			k, nudge = ks[max(i-1, 0)], 0
		}
		ks[i], nudges[i] = k, nudge
		if nudge != 0 {
			flags = nudged
		}
	}
	dst = append(dst, valuesDecimal, byte(exponent)|flags)
	dst = appendStream(dst, ks)
	if flags != 0 {
		dst = appendStream(dst, nudges)
	}
	dst = binary.AppendUvarint(dst, uint64(len(exceptions)))
	last := 0
	for _, i := range exceptions {
		dst = binary.AppendUvarint(dst, uint64(i-last))
		dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(values[i]))
		last = i
	}
	return dst, true
}

// ordered maps a float to a whole number that ascends with it, negative zero
// just below zero. It is its own inverse on the bits.
func ordered(bits uint64) int64 {
	negative := uint64(int64(bits) >> 63)
	return int64(bits ^ negative>>1)
}

// appendRanked returns false when there are too many distinct values.
func appendRanked(dst []byte, values []float64) ([]byte, bool) {
	limit := min(maxDistinct, len(values)/4)
	ranks := make(map[int64]int64, limit)
	distinct := make([]int64, 0, limit)
	for _, v := range values {
		o := ordered(math.Float64bits(v))
		if _, ok := ranks[o]; ok {
			continue
		}
		if len(distinct) == limit {
			return dst, false
		}
		ranks[o] = 0
		distinct = append(distinct, o)
	}
	slices.Sort(distinct)
	dst = binary.AppendUvarint(append(dst, valuesRanked), uint64(len(distinct)))
	for rank, o := range distinct {
		ranks[o] = int64(rank)
		dst = binary.LittleEndian.AppendUint64(dst, uint64(ordered(uint64(o))))
	}
	numbers := make([]int64, len(values))
	for i, v := range values {
		numbers[i] = ranks[ordered(math.Float64bits(v))]
	}
	return appendStream(dst, numbers), true
}

func appendOrdered(dst []byte, values []float64) []byte {
	used := uint64(0)
	for _, v := range values {
		used |= math.Float64bits(v)
	}
	shift := min(bits.TrailingZeros64(used), maxZeroBits)
	numbers := make([]int64, len(values))
	for i, v := range values {
		numbers[i] = ordered(shiftMagnitude(math.Float64bits(v), shift))
	}
	return appendStream(append(dst, valuesOrdered, byte(shift)), numbers)
}

// shiftMagnitude drops low zero bits and leaves the sign where it is.
func shiftMagnitude(bits uint64, shift int) uint64 {
	return bits&signBit | bits&^signBit>>shift
}

func (r *reader) values(out []float64) {
	switch coding := r.Byte(); coding {
	case valuesDecimal:
		r.decimals(out)
	case valuesRanked:
		r.ranked(out)
	case valuesOrdered:
		r.ordered(out)
	default:
		r.Fail(fmt.Errorf("unknown value coding %d", coding))
	}
}

var errNotFinite = errors.New("a value is not finite")

func (r *reader) decimals(out []float64) {
	flags := r.Byte()
	exponent := flags &^ nudged
	if exponent > maxExponent {
		r.Fail(fmt.Errorf("exponent %d is beyond %d", exponent, maxExponent))
		return
	}
	power := powersOfTen[exponent]
	rest := out
	for g := r.groups(len(out)); g.next(r); rest = rest[g.n:] {
		part := rest[:g.n]
		for i := range part {
			part[i] = float64(g.numbers[i&(groupSize-1)]) / power
		}
	}
	if flags&nudged != 0 {
		r.nudge(out)
	}
	r.exceptions(out)
}

func (r *reader) nudge(out []float64) {
	for g := r.groups(len(out)); g.next(r); out = out[g.n:] {
		for i := range g.n {
			out[i] = math.Float64frombits(math.Float64bits(out[i]) + uint64(g.numbers[i]))
			if !finite(out[i]) {
				r.Fail(errNotFinite)
			}
		}
	}
}

func (r *reader) exceptions(out []float64) {
	at := uint64(0)
	for left := r.Uvarint(); left > 0 && r.Err == nil; left-- {
		at += r.Uvarint()
		raw := r.Take(8)
		if r.Err != nil {
			return
		}
		if at >= uint64(len(out)) {
			r.Fail(errors.New("an exception lies outside the block"))
			return
		}
		out[at] = math.Float64frombits(binary.LittleEndian.Uint64(raw))
		if !finite(out[at]) {
			r.Fail(errNotFinite)
		}
	}
}

func (r *reader) ranked(out []float64) {
	count := r.Uvarint()
	if count > maxDistinct {
		r.Fail(fmt.Errorf("%d distinct values are beyond %d", count, maxDistinct))
		return
	}
	table := r.Take(count * 8)
	for i := 0; i < len(table); i += 8 {
		if !finite(math.Float64frombits(binary.LittleEndian.Uint64(table[i:]))) {
			r.Fail(errNotFinite)
		}
	}
	for g := r.groups(len(out)); g.next(r); out = out[g.n:] {
		for i, rank := range g.numbers[:g.n] {
			if uint64(rank) >= count {
				r.Fail(errors.New("a rank lies outside the table"))
				return
			}
			out[i] = math.Float64frombits(binary.LittleEndian.Uint64(table[rank*8:]))
		}
	}
}

func (r *reader) ordered(out []float64) {
	shift := r.Byte()
	if shift > maxZeroBits {
		r.Fail(errors.New("impossible shift"))
		return
	}
	for g := r.groups(len(out)); g.next(r); out = out[g.n:] {
		for i, number := range g.numbers[:g.n] {
			shifted := uint64(ordered(uint64(number)))
			out[i] = math.Float64frombits(shifted&signBit | shifted<<shift&^signBit)
			if !finite(out[i]) {
				r.Fail(errNotFinite)
			}
		}
	}
}
