package dispatch_test

import (
	"context"
	"testing"
)

func contextFor(t *testing.T) (context.Context, context.CancelFunc) {
	t.Helper()
	return context.WithCancel(t.Context())
}

// stopped is a context that has ended.
func stopped() context.Context {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	return ctx
}
