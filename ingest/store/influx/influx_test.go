package influx_test

import (
	"context"
	"fmt"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/influx/influxtest"
	"coldweek/ingest/store/journal"
	"coldweek/ingest/store/local"
	"coldweek/ingest/store/storetest"
)

var year2025 = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

func suiteNow() time.Time { return storetest.Now }

// files are what a store keeps on its own machine.
type files struct{ journal, quarantine string }

func newFiles(t testing.TB) files {
	dir := t.TempDir()
	return files{filepath.Join(dir, "journal.db"), filepath.Join(dir, "quarantine.db")}
}

// opened is a store with what it was opened with.
type opened struct {
	*influx.Store
	files   files
	options influx.Options
	journal *journal.Journal
	refused *local.Store
	stop    func() // ends Forward
}

// open opens a store that waits little, so that tests do not.
func open(t testing.TB, f files, options influx.Options) *opened {
	t.Helper()
	o := &opened{files: f, options: options, stop: func() {}}
	var err error
	o.journal, err = journal.Open(t.Context(), f.journal, journal.Options{})
	require.NoError(t, err)
	o.refused, err = local.Open(t.Context(), f.quarantine, local.Options{Now: suiteNow})
	require.NoError(t, err)
	options.Journal, options.Quarantine = o.journal, o.refused
	if options.Linger == 0 {
		options.Linger = time.Millisecond
	}
	if options.FirstPause == 0 {
		options.FirstPause, options.LongestPause = time.Millisecond, 50*time.Millisecond
	}
	if options.Settle == 0 {
		options.Settle = 100 * time.Millisecond
	}
	o.Store, err = influx.Open(t.Context(), options)
	require.NoError(t, err)
	t.Cleanup(func() { _ = o.Close() })
	return o
}

// Close ends what forwards and closes everything.
func (o *opened) Close() error {
	o.stop()
	_ = o.Store.Close()
	_ = o.refused.Close()
	return o.journal.Close()
}

// forward starts Forward until the store is closed or stop is called.
func (o *opened) forward(t testing.TB) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := o.Forward(ctx); err != nil {
			t.Error(err)
		}
	}()
	o.stop = func() {
		cancel()
		<-done
	}
}

func (o *opened) drain(t testing.TB) {
	t.Helper()
	require.NoError(t, o.Drain(t.Context(), nil))
}

var databases atomic.Int64

// database makes a database of the server that nothing else uses.
func database(server *influxtest.Server) string {
	name := fmt.Sprint("plants", databases.Add(1))
	server.CreateDatabase(name)
	return name
}

// The store keeps its contract whether readings are forwarded at once, or only
// by the upkeep, so that what is read is the journal over the database.
func TestTheStoreKeepsItsContract(t *testing.T) {
	server := influxtest.Start(t)
	for name, forwarding := range map[string]bool{"forwarding": true, "forwarded by upkeep": false} {
		t.Run(name, func(t *testing.T) { suite(server, forwarding).Run(t) })
	}
}

func suite(server *influxtest.Server, forwarding bool) storetest.Suite {
	start := func(t *testing.T, f files, options influx.Options) store.Store {
		s := open(t, f, options)
		if forwarding {
			s.forward(t)
		}
		return s
	}
	return storetest.Suite{
		Repeats: true,
		Open: func(t *testing.T) store.Store {
			return start(t, newFiles(t), influx.Options{URL: server.URL(), Bucket: database(server)})
		},
		Reopen: func(t *testing.T, s store.Store) store.Store {
			before := s.(*opened)
			require.NoError(t, before.Close())
			return start(t, before.files, before.options)
		},
		Maintain: func(t *testing.T, s store.Store, _ time.Time) { s.(*opened).drain(t) },
		Away: func(*testing.T) (comeBack func()) {
			server.Stop()
			return server.Resume
		},
	}
}
