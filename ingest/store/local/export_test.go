package local

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// WithBlockLimit makes blocks hold less, for tests of days that hold more.
func (o Options) WithBlockLimit(readings int) Options {
	o.blockLimit = readings
	return o
}

// Ask returns the first column of a query's first row, asked of the writer's
// connection.
func (s *Store) Ask(query string, args ...any) (answer string) {
	if err := s.write.QueryRowContext(context.Background(), query, args...).Scan(&answer); err != nil {
		return fmt.Sprint(err)
	}
	return answer
}

// InRows counts the readings that are not in blocks.
func (s *Store) InRows(t *testing.T) (readings int) {
	rows, err := s.write.QueryContext(t.Context(), "SELECT unix_ms, readings FROM fresh")
	require.NoError(t, err)
	require.NoError(t, eachOf(rows, 0, func(int64, entry) bool {
		readings++
		return true
	}))
	return readings
}

// Hold keeps every writer waiting until release is called.
func (s *Store) Hold() (release func()) {
	s.turn <- struct{}{}
	return func() { <-s.turn }
}
