package influx

import (
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
)

func TestNamesStayReadable(t *testing.T) {
	for plain, escaped := range map[string]string{
		"flow_temp":         "flow_temp",
		"room_temp/kitchen": "room_temp/kitchen",
		"Käthes Höhe, 山":    "Käthes Höhe, 山",
		"100%":              "100%25",
		`a\b`:               "a%5Cb",
		"a\nb\x7f":          "a%0Ab%7F",
		"\xff\ufffd":        "%FF%EF%BF%BD",
	} {
		require.Equal(t, escaped, escapeName(plain))
		require.Equal(t, plain, unescapeName(escaped))
	}
	require.Equal(t, "%74ime", fieldOf("time"))
	require.Equal(t, "%73ite", fieldOf("site"))
	require.Equal(t, "sites", fieldOf("sites"))
	require.Equal(t, "50% of it", unescapeName("50% of it"), "a name that others wrote")
}

func FuzzNames(f *testing.F) {
	f.Add("room_temp/100%", "time")
	f.Fuzz(func(t *testing.T, a, b string) {
		for _, escape := range []func(string) string{escapeName, func(s string) string { return escapeField(s, takenInDay) }} {
			require.Equal(t, a, unescapeName(escape(a)))
			require.True(t, utf8.ValidString(escape(a)))
			require.Equal(t, a == b, escape(a) == escape(b))
		}
		require.False(t, takenInReading(fieldOf(ingest.Channel(a))))
		fields := []string{escapeName(a), escapeName(b)}
		if a != "" && b != "" {
			require.Equal(t, fields, fieldList(listFields(fields)))
		}
	})
}

// What the encoder writes, the official decoder reads.
func FuzzLines(f *testing.F) {
	f.Add("moorhof", "flow_temp", "room_temp/a b=c,d", int64(1700000000000), 1.5)
	f.Fuzz(func(t *testing.T, site, one, other string, ms int64, value float64) {
		at := time.UnixMilli(ms)
		if site == "" || one == "" || other == "" || math.IsNaN(value) || math.IsInf(value, 0) || at.Before(earliest) || !at.Before(latest) {
			t.Skip()
		}
		batch := samples{{site, ingest.Channel(one), ms, value}, {site, ingest.Channel(other), ms, -value}}.sorted()
		lines, err := batch.encode()
		require.NoError(t, err)
		d := lineprotocol.NewDecoderWithBytes(lines)
		require.True(t, d.Next())
		_, err = d.Measurement()
		require.NoError(t, err)
		_, tag, err := d.NextTag()
		require.NoError(t, err)
		require.Equal(t, site, unescapeName(string(tag)))
		_, tag, err = d.NextTag()
		require.NoError(t, err)
		require.Nil(t, tag)
		for _, s := range batch {
			field, v, err := d.NextField()
			require.NoError(t, err)
			require.Equal(t, s.channel, ingest.Channel(unescapeName(string(field))))
			require.Equal(t, math.Float64bits(s.value), math.Float64bits(v.FloatV()))
		}
		when, err := d.Time(lineprotocol.Millisecond, time.Time{})
		require.NoError(t, err)
		require.Equal(t, ms, when.UnixMilli())
		require.False(t, d.Next())
	})
}

func TestHalvesEndWhereALineEnds(t *testing.T) {
	wide := samples{{"a", "x", 1, 0}, {"a", "y", 1, 0}, {"a", "z", 1, 0}, {"a", "x", 2, 0}, {"a", "y", 2, 0}, {"b", "x", 2, 0}}
	require.Equal(t, 3, wide.lines())
	require.Equal(t, []samples{wide[:3], wide[3:]}, wide.halves())
	require.Equal(t, []samples{wide[3:5], wide[5:]}, wide[3:].halves())
	require.ElementsMatch(t, []samples{wide[:1], wide[1:2], wide[2:3]}, wide[:3].halves())
	require.Equal(t, []samples{wide[2:3], wide[3:]}, wide[2:].halves())
	long := samples{{"a", "w", 1, 0}, {"a", "x", 2, 0}, {"a", "y", 2, 0}, {"a", "z", 2, 0}}
	require.Equal(t, []samples{long[:1], long[1:]}, long.halves())
	require.Equal(t, []samples{long[2:3], {long[0], long[1], long[3]}}, long.apart("y"))
	require.Len(t, long.apart("unheard of"), 4)
}

func TestTheLaterOfTwoSamplesStays(t *testing.T) {
	got := samples{{"b", "x", 1, 1}, {"a", "y", 1, 2}, {"a", "x", 1, 3}, {"b", "x", 1, 4}, {"a", "x", 1, 5}, {"b", "x", 0, 6}}.sorted()
	require.Equal(t, samples{{"a", "x", 1, 5}, {"a", "y", 1, 2}, {"b", "x", 0, 6}, {"b", "x", 1, 4}}, got)
}

// The texts are those of 1.8.10 and 2.7.12.
func TestWhoseMatterARefusalIs(t *testing.T) {
	for _, c := range []struct {
		status  int
		text    string
		want    matter
		dropped int
		tooOld  bool
		field   string
	}{
		{400, `partial write: field type conflict: input field "power" on measurement "reading" is type float, already exists as type integer dropped=3`, faulty, 3, false, "power"},
		{422, `failure writing points to database: partial write: field type conflict: input field "room_temp/a" on measurement "reading" is type float, already exists as type integer dropped=1`, faulty, 1, false, "room_temp/a"},
		{400, "partial write: points beyond retention policy dropped=12", faulty, 12, true, ""},
		{422, "failure writing points to database: partial write: dropped 5 points outside retention policy of duration 1h0m0s - oldest 2020-01-01, newest 2020-01-02 dropped=5", faulty, 5, true, ""},
		{400, "unable to parse 'reading,site=a ': missing fields", faulty, 0, false, ""},
		{400, `partial write: max-values-per-tag limit exceeded (100000/100000): measurement="reading" tag="site" value="x" dropped=1`, setup, 1, false, ""},
		{400, "partial write: shard 7 is pending deletion dropped=4", passing, 4, false, ""},
		{400, "unexpected EOF", unclear, 0, false, ""},
		{401, "authorization failed", setup, 0, false, ""},
		{403, "not authorized", setup, 0, false, ""},
		{404, `database not found: "x"`, setup, 0, false, ""},
		{408, "", passing, 0, false, ""},
		{413, "Request Entity Too Large", oversized, 0, false, ""},
		{429, "", passing, 0, false, ""},
		{500, "timeout", passing, 0, false, ""},
		{503, "", passing, 0, false, ""},
	} {
		err := fmt.Errorf("forward: %w", &statusError{status: c.status, text: c.text})
		require.Equal(t, c.want, matterOf(err), c.text)
		require.Equal(t, c.dropped, droppedOf(err), c.text)
		require.Equal(t, c.tooOld, tooOld(err), c.text)
		require.Equal(t, c.field, conflictOf(err), c.text)
	}
	require.Equal(t, passing, matterOf(&unreachableError{err: errors.New("connection refused")}))
}

func TestPausesGrowAndHeedTheServer(t *testing.T) {
	p := (&Store{options: Options{FirstPause: time.Second, LongestPause: 5 * time.Second}}).newPauses()
	within := func(low, high time.Duration, failure error) {
		t.Helper()
		pause := p.grow(failure)
		require.GreaterOrEqual(t, pause, low)
		require.LessOrEqual(t, pause, high)
	}
	gone := &unreachableError{err: errors.New("connection refused")}
	within(500*time.Millisecond, time.Second, gone)
	within(time.Second, 2*time.Second, gone)
	within(2*time.Second, 4*time.Second, gone)
	within(2500*time.Millisecond, 5*time.Second, gone)
	within(2500*time.Millisecond, 5*time.Second, gone)
	p.next = time.Second
	within(7*time.Second, 7*time.Second, &statusError{status: 429, retryAfter: 7 * time.Second})
	within(2500*time.Millisecond, 5*time.Second, &statusError{status: 404})
}

func TestWhatMayBeUnderway(t *testing.T) {
	for _, c := range []struct {
		failure error
		want    bool
	}{
		{&unreachableError{err: &net.OpError{Op: "dial", Err: errors.New("connection refused")}}, false},
		{&unreachableError{err: &net.OpError{Op: "read", Err: errors.New("connection reset")}}, true},
		{&unreachableError{err: errSilent}, true},
		{&unreachableError{err: io.EOF}, true},
		{&statusError{status: 500}, true},
		{&statusError{status: 504}, true},
		{&statusError{status: 503}, false},
		{&statusError{status: 429}, false},
		{&statusError{status: 404}, false},
		{errors.New("the journal is locked"), false},
	} {
		require.Equal(t, c.want, underway(fmt.Errorf("forward: %w", c.failure)), "%v", c.failure)
	}
}

func TestFloorTo(t *testing.T) {
	require.Equal(t, int64(0), floorTo(msPerHour-1, msPerHour))
	require.Equal(t, int64(-msPerHour), floorTo(-1, msPerHour))
	require.Equal(t, int64(-msPerHour), floorTo(-msPerHour, msPerHour))
}

func TestWindowsCoverATime(t *testing.T) {
	require.Equal(t, []window{{5, windowMS}, {windowMS, 2 * windowMS}, {2 * windowMS, 2*windowMS + 1}}, cut(5, 2*windowMS+1))
	require.Equal(t, []window{{-1, 0}, {0, 1}}, cut(-1, 1))
}

func TestColumnsShareTimesOnlyWhenAllPartsDo(t *testing.T) {
	part := func(times ...[]int64) []points {
		columns := make([]points, len(times))
		for i, ms := range times {
			columns[i] = points{ms, make([]float64, len(ms))}
		}
		share(columns)
		return columns
	}
	joined := join([][]points{
		part([]int64{1, 2}, []int64{1, 2}, []int64{1, 2}, nil),
		part(nil, nil, []int64{3}, nil),
		part([]int64{4}, []int64{4}, []int64{4}, nil),
	}, 4)
	require.Equal(t, []int64{1, 2, 4}, joined[1].ms)
	require.Equal(t, []int64{1, 2, 3, 4}, joined[2].ms)
	require.True(t, joined[0].sharesTimes(joined[1]))
	require.False(t, joined[0].sharesTimes(joined[2]))
	require.Zero(t, joined[3].len())
}
