package metrics

import (
	"fmt"
	"net/http"

	"coldweek/ingest/receive"
)

// Health answers 200 and "ok" while readings can be kept, and 503 with the
// reason from the first commit that failed until one succeeds.
func Health(stats func() receive.Stats) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		status, text := http.StatusOK, "ok"
		if s := stats(); s.Trouble != nil {
			status = http.StatusServiceUnavailable
			text = fmt.Sprintf("readings cannot be kept, so messages wait unacknowledged while it is tried again: %v", s.Trouble)
		}
		w.WriteHeader(status)
		// An error here means that the asker has gone.
		_, _ = fmt.Fprintln(w, text)
	})
}
