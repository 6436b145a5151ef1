package local

import (
	"context"
	"fmt"
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

// Hold keeps every writer waiting until release is called.
func (s *Store) Hold() (release func()) {
	s.turn <- struct{}{}
	return func() { <-s.turn }
}
