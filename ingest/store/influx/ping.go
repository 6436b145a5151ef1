package influx

import (
	"context"
	"fmt"
)

// Ping says whether readings could be written and read now: nil, or that the
// server is not reached, does not take the token or has no such bucket.
func (s *Store) Ping(ctx context.Context) error {
	// A comment holds no point, so nothing is written, yet both versions look at
	// token and bucket first (serveWrite of 1.8.10, handleWrite of 2).
	if err := s.send(ctx, "# ping"); err != nil {
		return fmt.Errorf("write to InfluxDB: %w", err)
	}
	if err := s.query(ctx, `SELECT "seen" FROM "channel" LIMIT 1`, nil); err != nil {
		return fmt.Errorf("read from InfluxDB: %w", err)
	}
	return nil
}
