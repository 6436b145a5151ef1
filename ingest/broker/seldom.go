package broker

import (
	"log/slog"
	"sync"
	"time"
)

// sayEvery is how often the same thing is logged at most.
const sayEvery = time.Minute

// maxSayings bounds the memory of what was said.
const maxSayings = 1000

// seldom logs what a client can cause as often as it likes.
type seldom struct {
	logger *slog.Logger
	now    func() time.Time

	mu   sync.Mutex
	last map[string]time.Time
}

func newSeldom(logger *slog.Logger, now func() time.Time) *seldom {
	return &seldom{logger: logger, now: now, last: map[string]time.Time{}}
}

func (s *seldom) warn(about, message string, args ...any) {
	if s.due(about) {
		s.logger.Warn(message, args...)
	}
}

func (s *seldom) due(about string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	if last, ok := s.last[about]; ok && now.Sub(last).Abs() < sayEvery {
		return false
	}
	if len(s.last) >= maxSayings {
		clear(s.last)
	}
	s.last[about] = now
	return true
}
