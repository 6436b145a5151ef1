package block_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/block"
)

const readingSize = 16 // bytes of a time and a value in memory

func BenchmarkDecode(b *testing.B) {
	for _, d := range append(plant(), awkward()...) {
		b.Run(d.name, func(b *testing.B) {
			packed, err := block.Append(nil, everyTenSeconds(), d.values)
			require.NoError(b, err)
			var ms []int64
			var values []float64
			b.SetBytes(int64(readingSize * len(d.values)))
			for b.Loop() {
				ms, values, err = block.Decode(packed, ms, values)
			}
			require.NoError(b, err)
			b.ReportMetric(perReading(packed, values), "bytes/reading")
			b.ReportMetric(float64(len(values))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
		})
	}
}

// BenchmarkCopy is what Decode is to be compared with: readings that lie in
// memory as they are.
func BenchmarkCopy(b *testing.B) {
	ms, values := everyTenSeconds(), plant()[0].values
	toMS, toValues := make([]int64, len(ms)), make([]float64, len(values))
	b.SetBytes(int64(readingSize * len(values)))
	for b.Loop() {
		copy(toMS, ms)
		copy(toValues, values)
	}
	b.ReportMetric(float64(len(values))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
}

func BenchmarkAppend(b *testing.B) {
	ms := everyTenSeconds()
	for _, d := range append(plant(), awkward()...) {
		b.Run(d.name, func(b *testing.B) {
			var packed []byte
			var err error
			b.SetBytes(int64(readingSize * len(d.values)))
			for b.Loop() {
				packed, err = block.Append(packed[:0], ms, d.values)
			}
			require.NoError(b, err)
			b.ReportMetric(float64(len(ms))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
		})
	}
}
