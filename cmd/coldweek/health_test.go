package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/metrics"
	"coldweek/ingest/programtest"
	"coldweek/ingest/receive"
)

// TestServeAnswersMachines: health before, while and after serve runs, and the
// numbers for Prometheus.
func TestServeAnswersMachines(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	port := programtest.FreePort(t)
	text := fmt.Sprintf("broker: {listen: '127.0.0.1:0'}\nweb: {listen: '127.0.0.1:%d'}\n", port)
	require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte(text), 0o600))
	_, errOut, code := coldweek(t, "health", "--home", dir)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errOut, "refused")

	stop := startServe(t, dir)
	require.Eventually(t, func() bool {
		out, _, code := coldweek(t, "health", "--home", dir)
		return code == 0 && out == "ok\n"
	}, time.Minute, 20*time.Millisecond)
	page := get(t, fmt.Sprintf("http://127.0.0.1:%d/metrics", port))
	assert.Contains(t, page, "coldweek_build_info{")
	assert.Contains(t, page, `coldweek_quarantine_refused_total{reason="bad_payload"} 0`)
	assert.Contains(t, get(t, fmt.Sprintf("http://127.0.0.1:%d/", port)), "<html", "the pages are beside them")
	assert.Zero(t, stop())
	_, _, code = coldweek(t, "health", "--home", dir)
	assert.Equal(t, exitFailed, code)
}

// startServe runs serve on a home; the function returned stops it and returns its
// exit code.
func startServe(t *testing.T, dir string) (stop func() int) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"serve", "--home", dir}, streams{strings.NewReader(""), t.Output(), t.Output()})
	}()
	return func() int {
		cancel()
		return <-done
	}
}

func TestHealthSaysWhatIsWrong(t *testing.T) {
	check := func(wantCode int, want string, args ...string) {
		t.Helper()
		out, errOut, code := coldweek(t, append([]string{"health"}, args...)...)
		assert.Equal(t, wantCode, code, args)
		assert.Contains(t, out+errOut, want, args)
	}
	full := httptest.NewServer(metrics.Health(func() receive.Stats { return receive.Stats{Trouble: errors.New("disk full")} }))
	defer full.Close()
	check(exitFailed, "not well: readings cannot be kept, so messages wait unacknowledged while it is tried again: disk full", "--url", full.URL)
	other := httptest.NewServer(http.NotFoundHandler())
	defer other.Close()
	check(exitFailed, "answers 404 Not Found; is this the address of coldweek's pages?", "--url", other.URL)
	check(exitUsage, "write http://127.0.0.1:8137", "--url", "127.0.0.1:8137")
	check(exitUsage, "holds no coldweek deployment", "--home", t.TempDir())

	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	for listen, want := range map[string]string{"127.0.0.1:0": "say which it is with --url", "8137": "write 127.0.0.1:8137"} {
		require.NoError(t, os.WriteFile(home{dir}.configPath(), fmt.Appendf(nil, "broker: {}\nweb: {listen: '%s'}\n", listen), 0o600))
		check(exitUsage, want, "--home", dir)
	}
}

func TestReachable(t *testing.T) {
	for host, want := range map[string]string{"": "127.0.0.1", "0.0.0.0": "127.0.0.1", "::": "::1", "127.0.0.1": "127.0.0.1", "pages.example": "pages.example"} {
		assert.Equal(t, want, reachable(host), host)
	}
}
