package block_test

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"coldweek/ingest/store/block"
)

// FuzzDecode feeds arbitrary bytes, as they are and with a fitting checksum.
// Whatever decodes must be readings a block can hold: they pack again.
func FuzzDecode(f *testing.F) {
	for _, d := range append(plant(), awkward()...) {
		packed, err := block.Append(nil, jittered(150, 3), d.values[:150])
		if err != nil {
			f.Fatal(err)
		}
		f.Add(packed[:len(packed)-4])
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		block.DecodeValues(data, nil)
		for _, src := range [][]byte{data, sign(data)} {
			ms, values, err := block.Decode(src, nil, nil)
			if err != nil {
				continue
			}
			if _, err := block.Append(nil, ms, values); err != nil {
				t.Fatalf("decoded %d readings that cannot be packed: %v", len(ms), err)
			}
		}
	})
}

// FuzzRoundTrip takes intervals and values from arbitrary bytes.
func FuzzRoundTrip(f *testing.F) {
	for _, d := range append(plant(), awkward()...) {
		var data []byte
		for _, v := range d.values[:100] {
			data = binary.LittleEndian.AppendUint16(data, 10_000)
			data = binary.LittleEndian.AppendUint64(data, math.Float64bits(v))
		}
		f.Add(int64(dayMS), int64(1), data)
	}
	f.Add(int64(math.MinInt64), int64(1<<50), make([]byte, 300))
	f.Fuzz(func(t *testing.T, first, scale int64, data []byte) {
		var ms []int64
		var values []float64
		for at := first; len(data) >= 10; data = data[10:] {
			v := math.Float64frombits(binary.LittleEndian.Uint64(data[2:]))
			next := at + int64(binary.LittleEndian.Uint16(data))*scale
			if math.IsNaN(v) || math.IsInf(v, 0) || (len(ms) > 0 && next <= at) {
				continue
			}
			ms, values, at = append(ms, next), append(values, v), next
		}
		packed, err := block.Append(nil, ms, values)
		if err != nil {
			t.Fatal(err)
		}
		gotMS, gotValues, err := block.Decode(packed, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(ms, gotMS) || !slices.Equal(bitsOf(values), bitsOf(gotValues)) {
			t.Fatalf("%v %v came back as %v %v", ms, values, gotMS, gotValues)
		}
	})
}
