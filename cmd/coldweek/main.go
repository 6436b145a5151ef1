// Command coldweek watches heat pumps after they are installed: it takes in
// their readings over MQTT or from files, keeps them, and says what heat was
// delivered, what electricity it took and how the plant ran.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // local days must not depend on the machine's own zones
)

// Exit codes.
const (
	exitFailed = 1 // the command could not do its work, or found problems
	exitUsage  = 2 // the command line or a file it names is wrong
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}))
}

// run is main with its surroundings passed in, so that tests call it.
func run(ctx context.Context, args []string, io streams) int {
	root := newRoot(io)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	switch {
	case err == nil:
		return 0
	case errors.Is(err, errReported):
		return exitFailed
	}
	fmt.Fprintf(io.err, "coldweek: %v\n", err)
	var usage usageError
	if errors.As(err, &usage) {
		return exitUsage
	}
	return exitFailed
}
