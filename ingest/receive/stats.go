package receive

import (
	"maps"
	"sync"
	"time"

	"coldweek/ingest"
)

// latencyBounds are the upper edges of the buckets of Stats.Latency; one more
// bucket holds what is slower.
var latencyBounds = []time.Duration{
	5 * time.Millisecond, 10 * time.Millisecond, 25 * time.Millisecond, 50 * time.Millisecond,
	100 * time.Millisecond, 250 * time.Millisecond, 500 * time.Millisecond,
	time.Second, 2500 * time.Millisecond, 5 * time.Second, 10 * time.Second,
}

// Stats counts what an Intake did since it began.
type Stats struct {
	Messages int64                   // on disk, refused ones included
	Readings int64                   // on disk
	Changed  int64                   // readings that were new or changed a value
	Refused  map[ingest.Reason]int64 // quarantined, by reason
	Commits  int64
	Failures int64 // failed attempts to commit
	Lost     int64 // messages given back unacknowledged at a stop
	Queued   int   // messages waiting now
	Latency  Latency

	// Newest is the time of the newest reading on disk by site, of those sites
	// that were heard since the intake began.
	Newest map[string]time.Time
	// Heard is how many messages carried readings of each site, of those committed.
	Heard map[string]int64
	// Trouble is why the last attempt to commit failed, nil when it did not.
	Trouble error
}

// Latency is a histogram of the time from submission to durable.
type Latency struct {
	Bounds []time.Duration // ascending upper edges
	Counts []int64         // one a bucket, and a last one for what is slower
	Sum    time.Duration
}

// Stats returns the counts so far.
func (in *Intake) Stats() Stats {
	s := in.tally.snapshot()
	in.mu.Lock()
	s.Queued = len(in.waiting)
	in.mu.Unlock()
	return s
}

type tally struct {
	mu    sync.Mutex
	stats Stats
}

func (t *tally) snapshot() Stats {
	t.mu.Lock()
	defer t.mu.Unlock()
	s := t.stats
	s.Refused = maps.Clone(s.Refused)
	if s.Refused == nil {
		s.Refused = map[ingest.Reason]int64{}
	}
	s.Latency.Bounds = latencyBounds
	s.Latency.Counts = make([]int64, len(latencyBounds)+1)
	copy(s.Latency.Counts, t.stats.Latency.Counts)
	s.Newest = maps.Clone(s.Newest)
	s.Heard = maps.Clone(s.Heard)
	return s
}

// failed counts an attempt to commit that did not succeed.
func (t *tally) failed(err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.stats.Failures++
	t.stats.Trouble = err
}

// kept notes the newest reading of each site in a batch that is on disk.
// Readings of a site mostly come together, so the map is asked once a run.
func (t *tally) kept(batch []ingest.Reading) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for len(batch) > 0 {
		id, newest := batch[0].Site, batch[0].Time
		for len(batch) > 0 && batch[0].Site == id {
			if batch[0].Time.After(newest) {
				newest = batch[0].Time
			}
			batch = batch[1:]
		}
		t.newest(id, newest)
	}
}

func (t *tally) newest(id string, at time.Time) {
	if t.stats.Newest == nil {
		t.stats.Newest = map[string]time.Time{}
	}
	if at.After(t.stats.Newest[id]) {
		t.stats.Newest[id] = at
	}
}

// commit counts a group: extra is what only the store refused.
func (t *tally) commit(group []entry, extra []ingest.Rejected, changed int64, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err != nil {
		t.stats.Lost += int64(len(group))
		return
	}
	t.stats.Commits++
	t.stats.Trouble = nil
	t.stats.Messages += int64(len(group))
	t.stats.Changed += changed
	t.stats.Readings -= int64(len(extra))
	t.refused(extra)
	now := time.Now()
	for _, e := range group {
		t.stats.Readings += int64(len(e.readings))
		t.heard(e.readings)
		t.refused(e.refused)
		t.latency(now.Sub(e.since))
	}
}

// heard counts a message for each site it had readings of: a topic may serve several.
func (t *tally) heard(readings []ingest.Reading) {
	if t.stats.Heard == nil {
		t.stats.Heard = map[string]int64{}
	}
	last := ""
	for _, r := range readings {
		if r.Site != last {
			t.stats.Heard[r.Site]++
			last = r.Site
		}
	}
}

func (t *tally) refused(items []ingest.Rejected) {
	for _, r := range items {
		if t.stats.Refused == nil {
			t.stats.Refused = map[ingest.Reason]int64{}
		}
		t.stats.Refused[r.Reason]++
	}
}

func (t *tally) latency(d time.Duration) {
	if t.stats.Latency.Counts == nil {
		t.stats.Latency.Counts = make([]int64, len(latencyBounds)+1)
	}
	bucket := 0
	for bucket < len(latencyBounds) && d > latencyBounds[bucket] {
		bucket++
	}
	t.stats.Latency.Counts[bucket]++
	t.stats.Latency.Sum += d
}
