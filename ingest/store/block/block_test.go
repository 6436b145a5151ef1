package block_test

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/block"
)

// bitsOf makes values comparable bit for bit, negative zeros included.
func bitsOf(values []float64) []uint64 {
	bits := make([]uint64, len(values))
	for i, v := range values {
		bits[i] = math.Float64bits(v)
	}
	return bits
}

func requireRoundTrip(t *testing.T, ms []int64, values []float64) []byte {
	t.Helper()
	packed, err := block.Append(nil, ms, values)
	require.NoError(t, err)
	gotMS, gotValues, err := block.Decode(packed, nil, nil)
	require.NoError(t, err)
	require.Equal(t, len(ms), len(gotMS))
	if len(ms) > 0 {
		require.Equal(t, ms, gotMS)
		require.Equal(t, bitsOf(values), bitsOf(gotValues))
	}
	return packed
}

func TestPlantDaysComeBackBitForBitAndSmall(t *testing.T) {
	total, readings := 0, 0
	for _, d := range plant() {
		packed := requireRoundTrip(t, everyTenSeconds(), d.values)
		t.Logf("%-34s %6d bytes, %.3f a reading", d.name, len(packed), float64(len(packed))/float64(len(d.values)))
		total += len(packed)
		readings += len(d.values)
	}
	t.Logf("%.3f a reading", float64(total)/float64(readings))
	assert.LessOrEqual(t, float64(total)/float64(readings), 1.3)
}

func TestAwkwardDaysComeBackBitForBit(t *testing.T) {
	for _, d := range awkward() {
		packed := requireRoundTrip(t, everyTenSeconds(), d.values)
		t.Logf("%-34s %6d bytes, %.3f a reading", d.name, len(packed), float64(len(packed))/float64(len(d.values)))
	}
}

var _ = binary.LittleEndian
var _ = crc32.IEEE

func BenchmarkDecode(b *testing.B) {
	for _, d := range append(plant(), awkward()...) {
		b.Run(d.name, func(b *testing.B) {
			packed, err := block.Append(nil, everyTenSeconds(), d.values)
			require.NoError(b, err)
			var ms []int64
			var values []float64
			for b.Loop() {
				ms, values, err = block.Decode(packed, ms, values)
			}
			require.NoError(b, err)
			b.ReportMetric(float64(len(values))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
		})
	}
}

func BenchmarkAppend(b *testing.B) {
	ms := everyTenSeconds()
	for _, d := range append(plant(), awkward()...) {
		b.Run(d.name, func(b *testing.B) {
			var packed []byte
			var err error
			for b.Loop() {
				packed, err = block.Append(packed[:0], ms, d.values)
			}
			require.NoError(b, err)
			b.ReportMetric(float64(len(ms))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
		})
	}
}
