package journal_test

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

// checkRoundTrip checks that a batch comes back bit for bit, as a whole and site
// by site.
func checkRoundTrip(t *testing.T, batch []ingest.Reading) {
	t.Helper()
	data := journal.Encode(batch)
	got, err := journal.Decode(data, "")
	require.NoError(t, err)
	requireSame(t, batch, got)
	of := make(map[string][]ingest.Reading)
	for _, r := range batch {
		of[r.Site] = append(of[r.Site], r)
	}
	for site, want := range of {
		got, err := journal.Decode(data, site)
		require.NoError(t, err)
		requireSame(t, want, got)
	}
}

// requireSame compares values by their bits, times to the millisecond.
func requireSame(t *testing.T, want, got []ingest.Reading) {
	t.Helper()
	same := slices.EqualFunc(want, got, func(a, b ingest.Reading) bool {
		return a.Site == b.Site && a.Channel == b.Channel && a.Time.UnixMilli() == b.Time.UnixMilli() &&
			math.Float64bits(a.Value) == math.Float64bits(b.Value)
	})
	if !same {
		require.Equal(t, want, got)
		t.Fatal("values differ in their bits")
	}
}

func TestBatchesComeBackBitForBit(t *testing.T) {
	checkRoundTrip(t, nil)
	checkRoundTrip(t, plantBatch("moorhof", 3, 500))
	checkRoundTrip(t, slices.Concat(plantBatch("moorhof", 0, 80), plantBatch("birkenweg", 0, 8), plantBatch("moorhof", 0, 16)))
	var odd []ingest.Reading
	for i, v := range []float64{
		0, math.Copysign(0, -1), 1, -1, 0.1, 21.37, -0.0001, 1e-5, 1.0 / 3, 1 << 48, 1<<53 + 2, 1e300, -1e300,
		math.MaxFloat64, math.SmallestNonzeroFloat64, 35.1 + 1e-14, 281474976710.6561,
	} {
		for _, at := range []time.Time{start.AddDate(0, 0, -i), time.UnixMilli(-1), time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC),
			time.Date(9999, 12, 31, 23, 59, 59, 999999999, time.UTC)} {
			odd = append(odd, ingest.Reading{Site: "a\nb\x00ü\xff", Channel: "room_temp/küche", Time: at, Value: v})
		}
	}
	checkRoundTrip(t, odd)
}

func TestLiveReadingsTakeLittleRoom(t *testing.T) {
	for size, perReading := range map[int]float64{8: 20, 500: 5, 5000: 4.5} {
		bytes := float64(len(journal.Encode(plantBatch("moorhof", 0, size)))) / float64(size)
		t.Logf("%d readings: %.2f bytes each", size, bytes)
		assert.LessOrEqual(t, bytes, perReading)
	}
}

// The checksum finds every burst of up to 32 bits (Koopman, "32-bit cyclic
// redundancy codes for Internet applications", 2002), so every changed byte.
func TestEveryChangedByteIsNoticed(t *testing.T) {
	data := journal.Encode(plantBatch("moorhof", 0, 80))
	for i := range data {
		for _, flip := range []byte{0x01, 0x80, 0xff} {
			damaged := slices.Clone(data)
			damaged[i] ^= flip
			_, err := journal.Decode(damaged, "")
			require.Error(t, err, "byte %d", i)
		}
		_, err := journal.Decode(data[:i], "")
		require.Error(t, err, "cut to %d bytes", i)
	}
}

// What passes the checksum by chance, or by malice, is refused with its reason
// or read, and what was read can be coded again.
func FuzzDecode(f *testing.F) {
	for _, size := range []int{0, 1, 8, 80} {
		f.Add(journal.Encode(plantBatch("moorhof", 0, size)))
	}
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		readings, err := journal.Decode(journal.Sign(slices.Clone(data)), "")
		if err == nil {
			checkRoundTrip(t, readings)
		}
	})
}

func FuzzRoundTrip(f *testing.F) {
	f.Add("moorhof", "power", uint8(8), []byte("0123456789abcdef0123456789abcdef"))
	f.Fuzz(func(t *testing.T, site, channel string, kinds uint8, raw []byte) {
		if site == "" {
			site = "?" // an empty name asks for all sites
		}
		var batch []ingest.Reading
		for i := 0; len(raw) >= 12; i++ {
			value := math.Float64frombits(binary.LittleEndian.Uint64(raw))
			if math.IsNaN(value) || math.IsInf(value, 0) {
				value = float64(int32(binary.LittleEndian.Uint32(raw))) / 100
			}
			ms := int64(int32(binary.LittleEndian.Uint32(raw[8:])))
			suffix := string(rune('a' + raw[0]%(kinds|1)))
			batch = append(batch, ingest.Reading{Site: site + suffix[:i%2], Channel: ingest.Channel(channel + suffix), Time: time.UnixMilli(ms), Value: value})
			raw = raw[12:]
		}
		checkRoundTrip(t, batch)
	})
}

func BenchmarkEncode(b *testing.B) {
	batch := plantBatch("moorhof", 0, 5000)
	for b.Loop() {
		journal.Encode(batch)
	}
	perSecond(b, b.N*len(batch))
}

func BenchmarkDecode(b *testing.B) {
	data := journal.Encode(plantBatch("moorhof", 0, 5000))
	for b.Loop() {
		_, err := journal.Decode(data, "")
		require.NoError(b, err)
	}
	perSecond(b, b.N*5000)
}

func perSecond(b *testing.B, readings int) {
	b.ReportMetric(float64(readings)/b.Elapsed().Seconds(), "readings/s")
}
