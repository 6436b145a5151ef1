package local_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

func refused(from, n, size int, reason ingest.Reason) []ingest.Rejected {
	items := make([]ingest.Rejected, n)
	for i := range items {
		items[i] = ingest.Rejected{
			Arrived: suiteNow().Add(time.Duration(from+i) * time.Second), Topic: fmt.Sprintf("topic/%d", from+i),
			Reason: reason, Payload: []byte(strings.Repeat("x", size)),
		}
	}
	return items
}

func topics(t *testing.T, s *local.Store) []string {
	t.Helper()
	kept, err := s.Refusals(t.Context(), 1000)
	require.NoError(t, err)
	topics := make([]string, len(kept))
	for i, r := range kept {
		topics[i] = r.Topic
	}
	return topics
}

func TestQuarantineDropsTheOldestAndCountsThem(t *testing.T) {
	path := newPath(t)
	options := local.Options{QuarantineLimit: 3}
	s := open(t, path, options)
	require.NoError(t, s.Refuse(t.Context(), refused(0, 2, 1, ingest.BadTime)))
	require.NoError(t, s.Refuse(t.Context(), refused(2, 2, 1, ingest.TooLarge)))
	assert.Equal(t, []string{"topic/3", "topic/2", "topic/1"}, topics(t, s))
	require.NoError(t, s.Refuse(t.Context(), refused(4, 100, 1, ingest.BadPayload)))
	assert.Equal(t, []string{"topic/103", "topic/102", "topic/101"}, topics(t, s))

	require.NoError(t, s.Close())
	s = open(t, path, options)
	require.NoError(t, s.Refuse(t.Context(), refused(104, 1, 1, ingest.BadTime)))
	assert.Equal(t, []string{"topic/104", "topic/103", "topic/102"}, topics(t, s))
	counts, err := s.RefusalCounts(t.Context())
	require.NoError(t, err)
	assert.Equal(t, []store.QuarantineCount{
		{Reason: ingest.BadPayload, Total: 100, Kept: 2},
		{Reason: ingest.BadTime, Total: 3, Kept: 1},
		{Reason: ingest.TooLarge, Total: 2, Kept: 0},
	}, counts)
}

func TestQuarantineIsBoundedInBytes(t *testing.T) {
	s := open(t, newPath(t), local.Options{QuarantineBytes: 10_000})
	for i := range 200 {
		require.NoError(t, s.Refuse(t.Context(), refused(i, 1, 50*(i%20), ingest.BadPayload)))
		kept, err := s.Refusals(t.Context(), 1000)
		require.NoError(t, err)
		bytes := 0
		for _, r := range kept {
			bytes += len(r.Topic) + len(r.Payload)
		}
		require.LessOrEqual(t, bytes, 10_000)
		require.NotEmpty(t, kept)
		if i > 50 {
			require.Greater(t, bytes, 7000, "no more is dropped than must be")
		}
	}
	require.NoError(t, s.Refuse(t.Context(), refused(200, 1, 1<<20, ingest.TooLarge)))
	kept, err := s.Refusals(t.Context(), 1)
	require.NoError(t, err)
	assert.Len(t, kept[0].Payload, ingest.MaxRejectedPayload)
}
