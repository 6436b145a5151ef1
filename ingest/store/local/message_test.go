package local

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func decodeMessage(data []byte) (m message, err error) {
	err = eachEntry(data, func(e entry) { m = append(m, e) })
	return m, err
}

func TestMessagesComeBackBitForBit(t *testing.T) {
	var m message
	for i, v := range []float64{
		0, math.Copysign(0, -1), 1, -1, 1200, 0.1, 21.37, -1 << 40, 1<<40 + 1, 1e300, math.MaxFloat64, math.SmallestNonzeroFloat64,
	} {
		m = append(m, entry{int64(1 + i*i*1000), v})
	}
	got, err := decodeMessage(m.encode())
	require.NoError(t, err)
	require.Len(t, got, len(m))
	for i := range m {
		assert.Equal(t, m[i].series, got[i].series)
		assert.Equal(t, math.Float64bits(m[i].value), math.Float64bits(got[i].value))
	}
}

// A map does the same, more slowly.
func TestAMessageOverAnother(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	random := func() (m message, values map[int64]float64) {
		values = make(map[int64]float64)
		for series := range int64(6) {
			if rng.IntN(2) == 0 {
				values[series] = float64(rng.IntN(2))
				m = append(m, entry{series, values[series]})
			}
		}
		return m, values
	}
	for range 1000 {
		base, want := random()
		over, values := random()
		news := 0
		for series, value := range values {
			if old, ok := want[series]; !ok || old != value {
				news++
			}
			want[series] = value
		}
		both, changed := over.over(base)
		require.Equal(t, news, changed)
		require.Len(t, both, len(want))
		for i, e := range both {
			require.Equal(t, want[e.series], e.value)
			require.True(t, i == 0 || both[i-1].series < e.series)
		}
	}
}

func FuzzMessage(f *testing.F) {
	f.Add(message{{1, 21.37}, {2, 1200}, {900, -0.5}}.encode())
	f.Add([]byte{0x80})
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := decodeMessage(data)
		if err != nil {
			return
		}
		again, err := decodeMessage(m.encode())
		require.NoError(t, err)
		require.Equal(t, m, again)
	})
}
