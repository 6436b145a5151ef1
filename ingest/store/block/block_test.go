package block_test

import (
	"encoding/binary"
	"encoding/hex"
	"hash/crc32"
	"math"
	"math/rand/v2"
	"strings"
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

// requireRoundTrip packs and unpacks: what went in is the reference.
func requireRoundTrip(t *testing.T, ms []int64, values []float64) []byte {
	t.Helper()
	packed, err := block.Append(nil, ms, values)
	require.NoError(t, err)
	gotMS, gotValues, err := block.Decode(packed, nil, nil)
	require.NoError(t, err)
	require.Equal(t, append([]int64{}, ms...), append([]int64{}, gotMS...))
	require.Equal(t, bitsOf(values), bitsOf(gotValues))
	onlyValues, err := block.DecodeValues(packed, nil)
	require.NoError(t, err)
	require.Equal(t, bitsOf(values), bitsOf(onlyValues))
	return packed
}

func perReading(packed []byte, values []float64) float64 {
	return float64(len(packed)) / float64(len(values))
}

// A value printed by a controller, converted or not, must stay within the aim;
// one without steps costs what a float32 or float64 holds.
func TestDaysComeBackBitForBitAndSmall(t *testing.T) {
	for _, d := range append(plant(), awkward()...) {
		packed := requireRoundTrip(t, everyTenSeconds(), d.values)
		t.Logf("%-34s %.3f bytes a reading", d.name, perReading(packed, d.values))
		assert.LessOrEqual(t, perReading(packed, d.values), d.limit, d.name)
	}
}

// Noise of standard deviation s steps cannot take less than log2(s*sqrt(2 pi e))
// bits (Shannon 1948, differential entropy of the normal distribution); the
// packing may waste a bit and a half on top.
func TestNoiseCostsLittleMoreThanItsEntropy(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, steps := range []float64{2, 3, 10, 100} {
		values := make([]float64, 8640)
		for i := range values {
			values[i] = roundTo(20+steps*rng.NormFloat64()/100, 100)
		}
		packed := requireRoundTrip(t, everyTenSeconds(), values)
		entropyBits := math.Log2(steps * math.Sqrt(2*math.Pi*math.E))
		assert.Greater(t, 8*perReading(packed, values), entropyBits)
		assert.Less(t, 8*perReading(packed, values), entropyBits+1.5)
	}
}

// jittered returns n times about 10 s apart.
func jittered(n int, jitterMS int64) []int64 {
	rng := rand.New(rand.NewPCG(9, 9))
	ms := make([]int64, n)
	for i := range ms {
		ms[i] = dayMS + int64(i)*10_000 + rng.Int64N(jitterMS)
	}
	return ms
}

func TestTimesComeBack(t *testing.T) {
	gaps := everyTenSeconds()[:5000]
	for i := 3000; i < 5000; i++ {
		gaps[i] += 3_600_000
	}
	for name, ms := range map[string][]int64{
		"none":                   {},
		"one":                    {dayMS},
		"before 1970":            {-5, -1, 0, 7},
		"the whole range":        {math.MinInt64, -1, 0, math.MaxInt64},
		"the ends":               {math.MinInt64, math.MinInt64 + 1, math.MaxInt64 - 1, math.MaxInt64},
		"a group":                jittered(64, 100),
		"a group and one":        jittered(65, 100),
		"with jitter":            jittered(1000, 100),
		"seconds with jitter":    {dayMS, dayMS + 9000, dayMS + 20_000, dayMS + 30_000, dayMS + 41_000},
		"regular with gaps":      gaps,
		"every millisecond":      {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10},
		"milliseconds then days": {0, 1, 2, 86_400_000, 86_400_001},
	} {
		t.Run(name, func(t *testing.T) {
			requireRoundTrip(t, ms, make([]float64, len(ms)))
		})
	}
	assert.Less(t, len(requireRoundTrip(t, gaps, make([]float64, len(gaps)))), 50, "regular times cost next to nothing")
}

func TestValuesComeBackBitForBit(t *testing.T) {
	negativeZero := math.Copysign(0, -1)
	for name, values := range map[string][]float64{
		"zeros of both signs": {0, negativeZero, 0, negativeZero},
		"ends": {math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, -math.SmallestNonzeroFloat64,
			math.Float64frombits(1<<52 - 1), math.Float64frombits(1 << 52)},
		"last bits":         {0.1 + 0.2, 0.3, math.Nextafter(0.3, 1), math.Nextafter(0.3, 0), math.Nextafter(0.3, -1)},
		"whole and large":   {1 << 53, 1<<53 + 2, -1 << 53, 1 << 62, 1e300},
		"thirds":            {1.0 / 3, -2.0 / 3, 4.0 / 3},
		"one odd one":       {21.5, 21.5, 21.6, 1e-300, 21.5, 21.4, 21.5, 21.5, 21.5, 21.5, 21.5, 21.5},
		"odd at the start":  {negativeZero, 21.5, 21.6, 21.7, 21.5, 21.4, 21.5, 21.5, 21.5, 21.5, 21.5, 21.5},
		"single precision":  {float64(float32(21.4)), float64(float32(-21.5)), float64(float32(0))},
		"a power of two":    {0.5, 0.25, 0.125, 1.0 / 1024, 1.0 / (1 << 40)},
		"decimals of ten":   {1e-10, 2e-10, 123456.0000000001},
		"beyond ten digits": {1e-11, 2e-11, 3.5e-11},
	} {
		t.Run(name, func(t *testing.T) {
			requireRoundTrip(t, everyTenSeconds()[:len(values)], values)
		})
	}
}

func TestAppendRefusesWhatItCannotKeep(t *testing.T) {
	kept := []byte("kept")
	check := func(want string, ms []int64, values []float64) {
		t.Helper()
		got, err := block.Append(kept, ms, values)
		require.ErrorContains(t, err, want)
		assert.Equal(t, kept, got)
	}
	check("2 times for 1 values", []int64{1, 2}, []float64{1})
	check("value 1 is NaN", []int64{1, 2}, []float64{1, math.NaN()})
	check("value 0 is -Inf", []int64{1}, []float64{math.Inf(-1)})
	check("times must ascend", []int64{2, 1}, []float64{1, 1})
	check("times must ascend", []int64{2, 2}, []float64{1, 1})

	ms := make([]int64, block.MaxReadings+1)
	for i := range ms {
		ms[i] = int64(i)
	}
	_, err := block.Append(nil, ms, make([]float64, len(ms)))
	assert.ErrorIs(t, err, block.ErrTooMany)
	requireRoundTrip(t, ms[1:], make([]float64, len(ms)-1))
}

func TestAppendAppends(t *testing.T) {
	first, err := block.Append([]byte("before"), []int64{1, 2}, []float64{3, 4})
	require.NoError(t, err)
	alone, err := block.Append(nil, []int64{1, 2}, []float64{3, 4})
	require.NoError(t, err)
	assert.Equal(t, "before"+string(alone), string(first))
}

// The bytes were put together by hand from the layout in the package comment;
// the checksum with a bitwise CRC-32C that gives E3069283 for "123456789"
// (RFC 3720, B.4). Blocks on disk must stay readable, so this never changes.
func TestLayoutStays(t *testing.T) {
	want := strings.ReplaceAll("01 03 0c 80 c0 9d ef f7 66 90 4e 01 01 00 06 00 01 01 81 ae 03 04 00 ce f6 63 c9", " ", "")
	packed := requireRoundTrip(t, []int64{dayMS, dayMS + 10_000, dayMS + 20_000}, []float64{21.5, 21.5, 21.6})
	assert.Equal(t, want, hex.EncodeToString(packed))
}

func TestDecodeNeedsNoMemoryOfItsOwn(t *testing.T) {
	for _, d := range append(plant(), awkward()...) {
		packed, err := block.Append(nil, everyTenSeconds(), d.values)
		require.NoError(t, err)
		ms, values := make([]int64, 0, 8640), make([]float64, 0, 8640)
		assert.Zero(t, testing.AllocsPerRun(10, func() {
			if ms, values, err = block.Decode(packed, ms, values); err != nil {
				t.Fatal(err)
			}
		}), d.name)
	}
}

func TestSameTimes(t *testing.T) {
	pack := func(ms []int64, value float64) []byte {
		values := make([]float64, len(ms))
		for i := range values {
			values[i] = value * float64(i%3)
		}
		packed, err := block.Append(nil, ms, values)
		require.NoError(t, err)
		return packed
	}
	regular := everyTenSeconds()
	assert.True(t, block.SameTimes(pack(regular, 1), pack(regular, 2.5)))
	assert.True(t, block.SameTimes(pack(jittered(99, 50), 1), pack(jittered(99, 50), math.Pi)))
	assert.False(t, block.SameTimes(pack(regular, 1), pack(regular[:8639], 1)))
	assert.False(t, block.SameTimes(pack(regular, 1), pack(regular[1:], 1)))
	assert.False(t, block.SameTimes(pack(jittered(99, 50), 1), pack(jittered(99, 51), 1)))
	assert.False(t, block.SameTimes(nil, nil))
	assert.False(t, block.SameTimes(pack(regular, 1), []byte{1}))
}

func TestEveryDamagedBitIsFound(t *testing.T) {
	packed, err := block.Append(nil, jittered(200, 40), plant()[0].values[:200])
	require.NoError(t, err)
	for i := range len(packed) * 8 {
		packed[i/8] ^= 1 << (i % 8)
		_, _, err := block.Decode(packed, nil, nil)
		require.ErrorIs(t, err, block.ErrCorrupt, "bit %d", i)
		packed[i/8] ^= 1 << (i % 8)
	}
	for n := range packed {
		_, _, err := block.Decode(packed[:n], nil, nil)
		require.ErrorIs(t, err, block.ErrCorrupt, "first %d bytes", n)
		_, err = block.DecodeValues(packed[:n], nil)
		require.ErrorIs(t, err, block.ErrCorrupt, "first %d bytes", n)
	}
	_, _, err = block.Decode(append(packed, 0), nil, nil)
	require.ErrorIs(t, err, block.ErrCorrupt)
}

// sign puts a fitting checksum behind a body, as damage in memory before
// writing would.
func sign(body []byte) []byte {
	sum := crc32.Checksum(body, crc32.MakeTable(crc32.Castagnoli))
	return binary.LittleEndian.AppendUint32(body[:len(body):len(body)], sum)
}

func TestForgedBlocksAreRefused(t *testing.T) {
	times := []byte{0, 1, 0, 2, 2} // first 0, tick 1, a run of 2 steps of 1: times 1 and 2
	body := func(parts ...[]byte) []byte {
		out := []byte{1, 2, byte(len(times))}
		out = append(out, times...)
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	twoFives := []byte{0, 0, 0, 1, 10, 1, 0, 0} // decimal, exponent 0, one step of 5 and one of 0, no exceptions
	ms, values, err := block.Decode(sign(body(twoFives)), nil, nil)
	require.NoError(t, err)
	require.Equal(t, []int64{1, 2}, ms)
	require.Equal(t, []float64{5, 5}, values)

	nan := binary.LittleEndian.AppendUint64(nil, math.Float64bits(math.NaN()))
	for want, forged := range map[string][]byte{
		"version 2":               append([]byte{2}, body(twoFives)[1:]...),
		"readings are beyond":     {1, 0xff, 0xff, 0xff, 0xff, 0x0f, 0, 0},
		"cut off":                 {1, 2, 200, 0, 0},
		"bytes too many":          body(twoFives, []byte{0}),
		"times do not ascend":     append([]byte{1, 2, 7, 0, 1, 0, 1, 0, 1, 0}, twoFives...),
		"longer than the block":   append([]byte{1, 2, 5, 0, 1, 0, 3, 2}, twoFives...),
		"unknown value coding":    body([]byte{3}),
		"unknown stream coding":   body([]byte{0, 0, 2}),
		"exponent 11":             body([]byte{0, 11, 0, 2, 0, 0}),
		"impossible width":        body([]byte{0, 0, 1, 58, 0, 0}),
		"outside the block":       body([]byte{0, 0, 0, 2, 0, 1, 2}, make([]byte, 8)),
		"value is not finite":     body([]byte{0, 0, 0, 2, 0, 1, 1}, nan),
		"not finite":              body([]byte{1, 1}, nan, []byte{0, 2, 0}),
		"outside the table":       body([]byte{1, 1}, make([]byte, 8), []byte{0, 2, 2}),
		"distinct values are":     body([]byte{1, 0xff, 0x7f}),
		"impossible shift":        body([]byte{2, 63, 0, 2, 0}),
		"cut off ":                body([]byte{0, 0, 0, 0, 0}),
		"unpack block of 3 bytes": nil,
	} {
		signed := sign(forged)
		if forged == nil {
			signed = []byte{1, 2, 3}
		}
		_, _, err := block.Decode(signed, nil, nil)
		require.ErrorIs(t, err, block.ErrCorrupt, want)
		require.ErrorContains(t, err, strings.TrimSpace(want))
	}
}

// A dozen bytes can claim millions of readings; what they can make Decode
// allocate is bounded by MaxReadings.
func TestAForgedCountIsBounded(t *testing.T) {
	for _, count := range []uint64{block.MaxReadings + 1, 1 << 40, math.MaxUint64} {
		forged := sign(append(binary.AppendUvarint([]byte{1}, count), 0, 0))
		assert.Less(t, testing.AllocsPerRun(5, func() {
			_, _, err := block.Decode(forged, nil, nil)
			assert.ErrorIs(t, err, block.ErrCorrupt)
		}), 50.0)
	}
}
