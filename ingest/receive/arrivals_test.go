package receive

import (
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func openArrivals(t *testing.T, path string, window int) *Arrivals {
	t.Helper()
	a, err := OpenArrivals(path, window, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a
}

func TestArrivalsAcrossProcesses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "arrivals")
	first, later := time.UnixMilli(1_705_212_000_123), time.UnixMilli(1_705_215_600_000)
	m := number(7)
	a, err := OpenArrivals(path, OneSession, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	assert.Equal(t, first, a.First("ingester", 65535, false, m, first))
	// Not closed: a killed process does not close either.

	again := openArrivals(t, path, OneSession)
	news := 0 // set a millisecond apart
	check := func(what, session string, id uint16, repeated bool, m Message, want time.Time) {
		t.Helper()
		if want.Equal(later) {
			want = later.Add(time.Duration(news) * time.Millisecond)
			news++
		}
		assert.True(t, want.Equal(again.First(session, id, repeated, m, later)), what)
	}
	check("a repetition", "ingester", 65535, true, m, first)
	check("of another session", "other", 65535, true, m, later)
	check("which took its place", "ingester", 65535, true, m, later)
	check("another identifier", "ingester", 3, true, m, later)
	check("a new message with the same identifier", "ingester", 3, false, m, later)
	check("another payload", "ingester", 3, true, number(8), later)
	check("QoS 0", "ingester", 0, true, m, later)
}

func TestArrivalsOfManySessions(t *testing.T) {
	a := openArrivals(t, "", 16)
	first, later := time.UnixMilli(1_000_000), time.UnixMilli(2_000_000)
	for id := range uint16(16) {
		a.First("mill", id+1, false, number(int(id)), first)
	}
	for id := range uint16(16) {
		first := first.Add(time.Duration(id) * time.Millisecond)
		assert.True(t, first.Equal(a.First("mill", id+1, true, number(int(id)), later)), "identifier %d", id+1)
	}
}

func TestBurstOfOneTopicIsSetApart(t *testing.T) {
	a := openArrivals(t, "", OneSession)
	now := time.UnixMilli(1_000_000_000)
	check := func(topic string, at, want time.Time) {
		t.Helper()
		assert.True(t, want.Equal(a.First("s", 0, false, Message{Topic: topic}, at)))
	}
	check("power", now, now)
	check("power", now, now.Add(time.Millisecond))
	check("power", now, now.Add(2*time.Millisecond))
	check("mode", now, now)
	check("power", now.Add(time.Second), now.Add(time.Second))
	check("power", now.Add(-24*time.Hour), now.Add(-24*time.Hour)) // the clock was set back
	check("power", now.Add(-24*time.Hour), now.Add(time.Millisecond-24*time.Hour))
}
