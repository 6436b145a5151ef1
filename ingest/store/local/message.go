package local

import (
	"cmp"
	"encoding/binary"
	"errors"
	"math"
	"slices"
)

// entry is the value of one series.
type entry struct {
	series int64
	value  float64
}

// message is what a site has at one millisecond, in ascending order of the
// series. Its row keeps it as, for each entry,
//
//	uvarint: twice the difference to the series before, plus 1 for a whole value
//	the value: whole as varint, else 8 bytes
type message []entry

const wholeValue = 1

func (m message) encode() []byte {
	data := make([]byte, 0, len(m)*10)
	last := int64(0)
	for _, e := range m {
		step := uint64(e.series-last) << 1
		last = e.series
		if whole, ok := asWhole(e.value); ok {
			data = binary.AppendUvarint(data, step|wholeValue)
			data = binary.AppendVarint(data, whole)
			continue
		}
		data = binary.AppendUvarint(data, step)
		data = binary.LittleEndian.AppendUint64(data, math.Float64bits(e.value))
	}
	return data
}

// asWhole says of values that fewer bytes hold what they are.
func asWhole(value float64) (whole int64, ok bool) {
	const shorter = 1 << 40
	whole = int64(max(-shorter, min(shorter, value)))
	return whole, float64(whole) == value && (whole != 0 || !math.Signbit(value))
}

var errMessage = errors.New("the readings of a row make no sense")

// eachEntry calls do for the entries of a coded message.
func eachEntry(data []byte, do func(entry)) error {
	series := int64(0)
	for len(data) > 0 {
		tag, n := binary.Uvarint(data)
		if n <= 0 {
			return errMessage
		}
		data = data[n:]
		series += int64(tag >> 1)
		if tag&wholeValue != 0 {
			whole, n := binary.Varint(data)
			if n <= 0 {
				return errMessage
			}
			data = data[n:]
			do(entry{series, float64(whole)})
			continue
		}
		if len(data) < 8 {
			return errMessage
		}
		value := math.Float64frombits(binary.LittleEndian.Uint64(data))
		if math.IsNaN(value) || math.IsInf(value, 0) {
			return errMessage
		}
		do(entry{series, value})
		data = data[8:]
	}
	return nil
}

// over returns both, where a series has two values that of m, and how many
// values of m are not in base.
func (m message) over(base message) (both message, changed int) {
	both = make(message, 0, len(m)+len(base))
	for _, e := range m {
		for len(base) > 0 && base[0].series < e.series {
			both, base = append(both, base[0]), base[1:]
		}
		same := false
		if len(base) > 0 && base[0].series == e.series {
			same = base[0].value == e.value
			if same {
				e = base[0] // a zero's sign is no change
			}
			base = base[1:]
		}
		if !same {
			changed++
		}
		both = append(both, e)
	}
	return append(both, base...), changed
}

// sample is an entry at its time.
type sample struct {
	ms int64
	entry
}

// timedMessage is a message at its time.
type timedMessage struct {
	ms int64
	message
}

// gather makes messages of a site's samples, in ascending time. No two samples
// are of the same series and time.
func gather(samples []sample) []timedMessage {
	slices.SortFunc(samples, func(a, b sample) int {
		return cmp.Or(cmp.Compare(a.ms, b.ms), cmp.Compare(a.series, b.series))
	})
	var messages []timedMessage
	entries := make(message, len(samples))
	for i, s := range samples {
		entries[i] = s.entry
		if i == 0 || samples[i-1].ms != s.ms {
			messages = append(messages, timedMessage{ms: s.ms, message: entries[i:i]})
		}
		last := &messages[len(messages)-1]
		last.message = last.message[:len(last.message)+1]
	}
	return messages
}
