package influx

import "context"

// Count returns how many rows a query has.
func Count(ctx context.Context, s *Store, statement string) (n int, err error) {
	err = s.query(ctx, statement, func(*head, []cell) error {
		n++
		return nil
	})
	return n, err
}

// Exec runs a statement.
func Exec(ctx context.Context, s *Store, statement string) error {
	return s.query(ctx, statement, nil)
}
