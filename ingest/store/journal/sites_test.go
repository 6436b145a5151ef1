package journal_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

func TestSitesAreThoseThatWait(t *testing.T) {
	j := open(t, newPath(t), journal.Options{})
	sites := func() []string {
		list, err := j.Sites(t.Context())
		require.NoError(t, err)
		return list
	}
	require.Empty(t, sites())
	at := func(names ...string) (batch []ingest.Reading) {
		for _, name := range names {
			batch = append(batch, ingest.Reading{Site: name, Channel: "power", Time: time.UnixMilli(1), Value: 1})
		}
		return batch
	}
	_, err := j.Append(t.Context(), at("zell", "moorhof"))
	require.NoError(t, err)
	through, err := j.Append(t.Context(), at("a\nb"))
	require.NoError(t, err)
	_, err = j.Append(t.Context(), at("moorhof"))
	require.NoError(t, err)
	require.Equal(t, []string{"a\nb", "moorhof", "zell"}, sites())
	require.NoError(t, j.Drop(t.Context(), through))
	require.Equal(t, []string{"moorhof"}, sites())
}
