package journal_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

// model is a journal as a plain slice.
type model struct {
	waiting  []journal.Batch
	appended map[int64]time.Time // to the millisecond, by id
}

func (m *model) next(atMost int) (batches journal.Batches) {
	for total, i := 0, 0; i < len(m.waiting) && (i == 0 || total < atMost); i++ {
		batches = append(batches, m.waiting[i])
		total += len(m.waiting[i].Readings)
	}
	return batches
}

func (m *model) pending(site string) (batches []journal.Batch) {
	for _, b := range m.waiting {
		var of []ingest.Reading
		for _, r := range b.Readings {
			if r.Site == site {
				of = append(of, r)
			}
		}
		if of != nil {
			batches = append(batches, journal.Batch{ID: b.ID, Readings: of})
		}
	}
	return batches
}

func (m *model) drop(through int64) {
	for len(m.waiting) > 0 && m.waiting[0].ID <= through {
		m.waiting = m.waiting[1:]
	}
}

func (m *model) depth() (d journal.Depth) {
	for _, b := range m.waiting {
		d.Batches++
		d.Readings += int64(len(b.Readings))
	}
	if d.Batches > 0 {
		d.Oldest = m.appended[m.waiting[0].ID]
	}
	return d
}

var modelSites = []string{"moorhof", "moor", "hof", "birkenweg", "a\nb", "a", "b", "ü\x00", "\n"}

func randomBatch(rng *rand.Rand) []ingest.Reading {
	batch := make([]ingest.Reading, 1+rng.IntN(1+rng.IntN(200)))
	for i := range batch {
		batch[i] = ingest.Reading{
			Site:    modelSites[rng.IntN(1+rng.IntN(len(modelSites)))],
			Channel: plantChannels[rng.IntN(len(plantChannels))],
			Time:    start.Add(time.Duration(rng.IntN(1000)) * 37 * time.Millisecond),
			Value:   []float64{rng.Float64(), float64(rng.IntN(1000)) / 10, -rng.ExpFloat64() * 1e20}[rng.IntN(3)],
		}
	}
	return batch
}

// TestAgainstASlice does the same at random to journals on one file and to a
// slice.
func TestAgainstASlice(t *testing.T) {
	for seed := range uint64(5) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) { compare(t, rand.New(rand.NewPCG(seed, 1))) })
	}
}

func compare(t *testing.T, rng *rand.Rand) {
	path := newPath(t)
	now := start
	options := journal.Options{Now: func() time.Time { return now }}
	journals := [2]*journal.Journal{open(t, path, options), open(t, path, options)}
	m := model{appended: make(map[int64]time.Time)}
	last := int64(0)
	for range 400 {
		now = now.Add(time.Duration(rng.IntN(1000)-200) * time.Millisecond)
		at := rng.IntN(len(journals))
		j := journals[at]
		switch rng.IntN(12) {
		default:
			batch := randomBatch(rng)
			id := add(t, j, batch)
			require.Equal(t, max(last+1, now.UnixMicro()), id)
			last = id
			m.appended[id] = now.Truncate(time.Millisecond)
			m.waiting = append(m.waiting, journal.Batch{ID: id, Readings: batch})
		case 0, 1:
			atMost := rng.IntN(400)
			require.Equal(t, m.next(atMost), next(t, j, atMost))
		case 2:
			site := modelSites[rng.IntN(len(modelSites))]
			require.Equal(t, m.pending(site), pending(t, j, site))
		case 3:
			through := last - int64(rng.IntN(20_000_000)) + 1000
			require.NoError(t, j.Drop(t.Context(), through))
			m.drop(through)
		case 4:
			if n := len(m.waiting); n > 0 {
				i := rng.IntN(n)
				require.NoError(t, j.SetAside(t.Context(), m.waiting[i].ID))
				m.waiting = append(m.waiting[:i:i], m.waiting[i+1:]...)
			}
		case 5:
			require.NoError(t, j.Close())
			journals[at] = open(t, path, options)
		}
		require.Equal(t, m.depth(), depthOf(t, journals[rng.IntN(2)]))
	}
}
