package influx_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/influx"
)

// stream makes batches one after another and remembers what must be there when
// all are kept, as a plain map would.
type stream struct {
	n    int
	held map[string]map[ingest.Channel]map[int64]float64
}

func newStream() *stream {
	return &stream{held: make(map[string]map[ingest.Channel]map[int64]float64)}
}

var streamChannels = []ingest.Channel{"flow_temp", "room_temp/kitchen", "power"}

const batchTimes = 20

// batch returns the next readings of two sites, some of those before again and
// some with another value.
func (s *stream) batch() []ingest.Reading {
	var batch []ingest.Reading
	first := max(0, s.n*batchTimes-10)
	for i := first; i < (s.n+1)*batchTimes; i++ {
		for c, channel := range streamChannels[:1+i%len(streamChannels)] {
			r := ingest.Reading{
				Site: []string{"moorhof", "zell"}[i%2], Channel: channel,
				Time: year2025.Add(time.Duration(i) * 10 * time.Second), Value: float64(i) + float64(c)/10,
			}
			if i%4 == 0 {
				r.Value += 1e6 * float64(s.n)
			}
			batch = append(batch, r)
			s.hold(r)
		}
	}
	s.n++
	return batch
}

func (s *stream) hold(r ingest.Reading) {
	site := s.held[r.Site]
	if site == nil {
		site = make(map[ingest.Channel]map[int64]float64)
		s.held[r.Site] = site
	}
	if site[r.Channel] == nil {
		site[r.Channel] = make(map[int64]float64)
	}
	site[r.Channel][r.Time.UnixMilli()] = r.Value
}

// append appends the next batches.
func (s *stream) append(t *testing.T, to *opened, batches int) {
	t.Helper()
	for range batches {
		_, err := to.Append(t.Context(), s.batch())
		require.NoError(t, err)
	}
}

// checkHeld compares what another machine reads, which has nothing of the
// journal, with the map.
func (s *stream) checkHeld(t *testing.T, url, bucket string) {
	t.Helper()
	reader := open(t, newFiles(t), influx.Options{URL: url, Bucket: bucket})
	for site, channels := range s.held {
		got := make(map[ingest.Channel]map[int64]float64)
		columns, err := reader.Scan(t.Context(), site, streamChannels, year2025.AddDate(-1, 0, 0), year2025.AddDate(1, 0, 0))
		require.NoError(t, err)
		for _, c := range columns {
			values := make(map[int64]float64, c.Len())
			for i, ms := range c.UnixMS {
				values[ms] = c.Value[i]
			}
			require.Len(t, values, c.Len(), "each time once")
			got[c.Channel] = values
		}
		require.Equal(t, channels, got, site)
	}
}

// checkNoneRefused checks that nothing went into quarantine.
func (o *opened) checkNoneRefused(t *testing.T) {
	t.Helper()
	refused, err := o.Refusals(t.Context(), 10)
	require.NoError(t, err)
	require.Empty(t, refused)
}

// eventually waits for what will come.
func eventually(t *testing.T, condition func() bool, what string, args ...any) {
	t.Helper()
	require.Eventually(t, condition, time.Minute, time.Millisecond, fmt.Sprintf(what, args...))
}
