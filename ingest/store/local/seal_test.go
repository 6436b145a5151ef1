package local_test

import (
	"context"
	"math"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/local"
	"coldweek/ingest/store/storetest"
)

// asRows keeps every reading a row until Seal.
var asRows = local.Options{MergeFrom: math.MaxInt}

var year2025 = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

func fill(t testing.TB, s *local.Store, days int) {
	t.Helper()
	for day := range days {
		_, err := s.Append(t.Context(), storetest.PlantDay("moorhof", day))
		require.NoError(t, err)
	}
}

func scanAll(t testing.TB, s *local.Store) []ingest.Column {
	t.Helper()
	columns, err := s.Scan(t.Context(), "moorhof", storetest.PlantChannels, year2025.AddDate(-1, 0, 0), year2025.AddDate(1, 0, 0))
	require.NoError(t, err)
	return columns
}

func TestSealPacksWhatLiesBefore(t *testing.T) {
	onFirst := func() time.Time { return year2025 } // nothing is of a past day yet
	s := open(t, newPath(t), local.Options{Now: onFirst})
	fill(t, s, 2)
	want := scanAll(t, s)
	seal := func(before time.Time, days, readings, rowsLeft int) {
		t.Helper()
		report, err := s.Seal(t.Context(), before)
		require.NoError(t, err)
		assert.Equal(t, days, report.Days)
		assert.Equal(t, int64(readings), report.Readings)
		assert.Equal(t, rowsLeft, s.InRows(t))
		require.Equal(t, want, scanAll(t, s))
	}
	const day = 8 * 8640
	seal(year2025.Add(30*time.Minute), 0, 0, 2*day)           // 180 readings of a day that goes on are too few
	seal(year2025.Add(34*time.Minute), 8, 8*204, 2*day-8*204) // 204 are enough
	seal(year2025.Add(36*time.Hour), 16, day-8*204+day/2, day/2)
	seal(year2025.Add(36*time.Hour), 0, 0, day/2)

	late := ingest.Reading{Site: "moorhof", Channel: "mode", Time: year2025.Add(30 * time.Hour), Value: 7}
	for _, at := range []time.Duration{time.Hour, 30 * time.Hour} { // in the packed day, in the packed half
		late.Time = year2025.Add(at)
		for _, changed := range []int64{1, 0} {
			n, err := s.Append(t.Context(), []ingest.Reading{late})
			require.NoError(t, err)
			assert.Equal(t, changed, n)
		}
	}
	want = scanAll(t, s)
	seal(year2025.Add(36*time.Hour), 1, 1, day/2+1) // the first day has ended, one reading of the second is too few
	seal(year2025.Add(48*time.Hour), 8, day/2+1, 0)
}

func TestSealGivesFreePagesBack(t *testing.T) {
	path := newPath(t)
	s := open(t, path, asRows)
	fill(t, s, 3)
	report, err := s.Seal(t.Context(), suiteNow())
	require.NoError(t, err)
	assert.Positive(t, report.Bytes)
	require.NoError(t, s.Close())
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Less(t, float64(info.Size()), 1.3*3*8*8640, "the design's 1.3 bytes a reading, free pages and all")
}

// stopping is a context that is cancelled the n-th time it is looked at.
type stopping struct {
	context.Context
	mu   sync.Mutex
	left int
	stop context.CancelFunc
}

func stopAt(ctx context.Context, n int) *stopping {
	ctx, stop := context.WithCancel(ctx)
	return &stopping{Context: ctx, left: n, stop: stop}
}

func (s *stopping) Done() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.left--; s.left == 0 {
		s.stop()
	}
	return s.Context.Done()
}

func TestSealCanBeInterruptedAnywhere(t *testing.T) {
	s := open(t, newPath(t), asRows)
	fill(t, s, 2)
	want := scanAll(t, s)
	interrupted, sealed := 0, 0
	for n := 1; sealed < 16; n *= 3 {
		report, err := s.Seal(stopAt(t.Context(), n), suiteNow())
		if err != nil {
			require.ErrorIs(t, err, context.Canceled)
			interrupted++
		}
		sealed += report.Days
		require.Equal(t, want, scanAll(t, s), "stopped at %d", n)
	}
	assert.Equal(t, 16, sealed, "every day once")
	assert.Greater(t, interrupted, 5)
}

func TestAnAppendCanBeInterruptedAnywhere(t *testing.T) {
	s := open(t, newPath(t), local.Options{})
	batch := append(storetest.PlantDay("moorhof", 0), storetest.PlantDay("moorhof", 1)[:4000]...)
	for n := 1; ; n += n/3 + 1 {
		changed, err := s.Append(stopAt(t.Context(), n), batch)
		if err == nil {
			assert.Equal(t, int64(len(batch)), changed)
			assert.Greater(t, n, 10)
			return
		}
		require.ErrorIs(t, err, context.Canceled)
		for _, c := range scanAll(t, s) {
			require.Zero(t, c.Len())
		}
	}
}

func TestADayTooLargeForABlockStaysRows(t *testing.T) {
	s := open(t, newPath(t), local.Options{}.WithBlockLimit(1000))
	batch := storetest.PlantDay("moorhof", 0)
	other := slices.Clone(batch[:8*900])
	for i := range other {
		other[i].Value = -1
	}
	for _, few := range [][]ingest.Reading{other, batch[:8*900]} {
		changed, err := s.Append(t.Context(), few)
		require.NoError(t, err)
		assert.Equal(t, int64(8*900), changed)
		assert.Equal(t, "8", s.Ask("SELECT count(*) FROM block"))
		assert.Zero(t, s.InRows(t))
	}
	changed, err := s.Append(t.Context(), batch)
	require.NoError(t, err)
	assert.Equal(t, int64(8*(8640-900)), changed)
	report, err := s.Seal(t.Context(), suiteNow())
	require.NoError(t, err)
	assert.Equal(t, 8, report.Left)
	assert.Zero(t, report.Days)
	for _, c := range scanAll(t, s) {
		assert.Equal(t, 8640, c.Len())
	}
	changed, err = s.Append(t.Context(), batch)
	require.NoError(t, err)
	assert.Zero(t, changed)
}

// Channels of one message share their times, also across rows not yet packed
// and edges inside a day.
func TestColumnsShareTimesRightly(t *testing.T) {
	s := open(t, newPath(t), asRows)
	fill(t, s, 3)
	from, to := year2025.Add(7*time.Hour), year2025.Add(61*time.Hour)
	scan := func(channels ...ingest.Channel) []ingest.Column {
		columns, err := s.Scan(t.Context(), "moorhof", channels, from, to)
		require.NoError(t, err)
		return columns
	}
	want := scan(storetest.PlantChannels...)
	late := ingest.Reading{Site: "moorhof", Channel: "mode", Time: year2025.Add(9*time.Hour + 1e9), Value: 3}
	for _, before := range []time.Time{year2025.AddDate(0, 0, 1), year2025.AddDate(0, 0, 2), suiteNow()} {
		_, err := s.Seal(t.Context(), before)
		require.NoError(t, err)
		require.Equal(t, want, scan(storetest.PlantChannels...))
		for i, channel := range storetest.PlantChannels {
			require.Equal(t, want[i], scan(channel)[0], "alone")
		}
	}
	shared := scan(storetest.PlantChannels...)
	assert.Same(t, &shared[0].UnixMS[0], &shared[5].UnixMS[0])
	_, err := s.Append(t.Context(), []ingest.Reading{late})
	require.NoError(t, err)
	for i, c := range scan(storetest.PlantChannels...) {
		if c.Channel == "mode" {
			assert.Equal(t, want[i].Len()+1, c.Len())
			continue
		}
		require.Equal(t, want[i], c)
	}
}

// Rows and blocks keep every bit, the sign of a zero (IEEE 754) included.
func TestTheSignOfAZeroIsKept(t *testing.T) {
	s := open(t, newPath(t), asRows)
	negativeZero := math.Copysign(0, -1)
	at := year2025
	var batch []ingest.Reading
	for _, v := range []float64{negativeZero, 0, negativeZero, 1, 0.5} {
		at = at.Add(time.Second)
		batch = append(batch, ingest.Reading{Site: "moorhof", Channel: "mode", Time: at, Value: v})
	}
	_, err := s.Append(t.Context(), batch)
	require.NoError(t, err)
	for range 2 {
		columns, err := s.Scan(t.Context(), "moorhof", []ingest.Channel{"mode"}, year2025, at.Add(1))
		require.NoError(t, err)
		for i, r := range batch {
			assert.Equal(t, math.Float64bits(r.Value), math.Float64bits(columns[0].Value[i]))
		}
		_, err = s.Seal(t.Context(), suiteNow())
		require.NoError(t, err)
	}
}

// Rows hold what all channels had at a time; blocks take them channel by
// channel.
func TestChannelsOfOneMessageAreSealedApart(t *testing.T) {
	s := open(t, newPath(t), local.Options{Now: func() time.Time { return year2025 }})
	var batch, power []ingest.Reading
	for n := range 360 {
		at := year2025.Add(time.Duration(n) * 10 * time.Second)
		batch = append(batch, ingest.Reading{Site: "moorhof", Channel: "power", Time: at, Value: float64(n)})
		if n%30 == 0 {
			batch = append(batch, ingest.Reading{Site: "moorhof", Channel: "outdoor_temp", Time: at, Value: -float64(n) / 8})
		}
	}
	_, err := s.Append(t.Context(), batch)
	require.NoError(t, err)
	scan := func() []ingest.Column {
		columns, err := s.Scan(t.Context(), "moorhof", []ingest.Channel{"outdoor_temp", "power"}, year2025, year2025.AddDate(0, 0, 1))
		require.NoError(t, err)
		return columns
	}
	want := scan()
	require.Equal(t, []int{12, 360}, []int{want[0].Len(), want[1].Len()})
	report, err := s.Seal(t.Context(), year2025.Add(40*time.Minute))
	require.NoError(t, err)
	assert.Equal(t, int64(240), report.Readings, "power alone has enough")
	assert.Equal(t, 120+12, s.InRows(t))
	require.Equal(t, want, scan())

	for n := range 8640 {
		power = append(power, ingest.Reading{
			Site: "moorhof", Channel: "power", Time: year2025.Add(time.Duration(n) * 10 * time.Second), Value: float64(n),
		})
	}
	later := open(t, s.Ask("SELECT file FROM pragma_database_list"), local.Options{})
	changed, err := later.Append(t.Context(), power)
	require.NoError(t, err)
	assert.Equal(t, int64(8640-360), changed)
	assert.Equal(t, 12, later.InRows(t), "a whole day goes into the block, and takes its own channel's rows alone")
	assert.Equal(t, want[0], scan()[0])
	assert.Equal(t, 8640, scan()[1].Len())
}

// Two processes write the channels of a time by turns.
func TestChannelsOfOneTimeComeOneByOne(t *testing.T) {
	path := newPath(t)
	stores := []*local.Store{open(t, path, asRows), open(t, path, asRows)}
	const times = 5
	for _, want := range []int64{1, 0} {
		for n := range times {
			for i, channel := range storetest.PlantChannels {
				r := ingest.Reading{Site: "moorhof", Channel: channel, Time: year2025.Add(time.Duration(n) * time.Second), Value: float64(i)}
				changed, err := stores[(n+i)%2].Append(t.Context(), []ingest.Reading{r})
				require.NoError(t, err)
				require.Equal(t, want, changed)
			}
		}
	}
	for i, c := range scanAll(t, stores[0]) {
		assert.Equal(t, slices.Repeat([]float64{float64(i)}, times), c.Value)
	}
	assert.Equal(t, strconv.Itoa(times), stores[0].Ask("SELECT count(*) FROM fresh"))
}
