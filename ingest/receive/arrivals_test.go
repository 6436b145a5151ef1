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
	check := func(what, session string, id uint16, repeated bool, m Message, want time.Time) {
		t.Helper()
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
		assert.True(t, first.Equal(a.First("mill", id+1, true, number(int(id)), later)), "identifier %d", id+1)
	}
}
