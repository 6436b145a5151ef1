package local_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
	"coldweek/ingest/store/storetest"
)

func suiteNow() time.Time { return storetest.Now }

func open(t testing.TB, path string, options local.Options) *local.Store {
	t.Helper()
	if options.Now == nil {
		options.Now = suiteNow
	}
	s, err := local.Open(t.Context(), path, options)
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func TestTheStoreKeepsItsContract(t *testing.T) {
	paths := make(map[store.Store]string)
	storetest.Suite{
		Open: func(t *testing.T) store.Store {
			path := filepath.Join(t.TempDir(), "readings.db")
			s := open(t, path, local.Options{})
			paths[s] = path
			return s
		},
		Reopen: func(t *testing.T, s store.Store) store.Store {
			require.NoError(t, s.Close())
			again := open(t, paths[s], local.Options{})
			paths[again] = paths[s]
			return again
		},
		Maintain: func(t *testing.T, s store.Store, before time.Time) {
			_, err := s.(*local.Store).Seal(t.Context(), before)
			require.NoError(t, err)
		},
	}.Run(t)
}
