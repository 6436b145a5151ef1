package influx

import (
	"errors"
	"sync"
)

// Stats is what a store has done and how its server does.
type Stats struct {
	ForwardedReadings int64  // sent and dropped from the journal
	FailedAttempts    int64  // to forward
	RefusedPoints     int64  // readings that InfluxDB refused for good, in quarantine now
	Up                bool   // the server answered when last asked
	LastError         string // why the last failed attempt failed; "" when one has succeeded since
}

type stats struct {
	mu sync.Mutex
	Stats
}

// Stats returns the counts since Open.
func (s *Store) Stats() Stats {
	s.stats.mu.Lock()
	defer s.stats.mu.Unlock()
	return s.stats.Stats
}

func (s *stats) up() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.Up = true
}

func (s *stats) failed(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.FailedAttempts++
	s.LastError = err.Error()
}

func (s *stats) forwarded(readings, refused int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ForwardedReadings += int64(readings)
	s.RefusedPoints += int64(refused)
	s.LastError = ""
}

// down notes that the server did not answer, unless it was the caller who went
// away, and returns the error.
func (s *Store) down(err error) error {
	unreachable, answer := (*unreachableError)(nil), (*statusError)(nil)
	if errors.As(err, &unreachable) || errors.As(err, &answer) {
		s.stats.mu.Lock()
		defer s.stats.mu.Unlock()
		s.stats.Up = false
	}
	return err
}
