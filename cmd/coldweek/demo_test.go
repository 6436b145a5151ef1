package main

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDemo starts the demo as a user does, looks at the fleet and a plant once
// the first history is in, and stops it.
func TestDemo(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	read, write := io.Pipe()
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"demo", "--listen", "127.0.0.1:0"}, streams{strings.NewReader(""), write, os.Stderr})
		write.Close()
	}()
	lines := bufio.NewScanner(read)
	require.True(t, lines.Scan())
	_, url, ok := strings.Cut(lines.Text(), "open ")
	require.True(t, ok, lines.Text())
	go func() {
		for lines.Scan() { // a pipe must be read for its writer to go on
		}
	}()

	assert.Contains(t, get(t, url), "Demonstration: three invented houses.")
	plant := url + "/plants/orchard-house?day=" + time.Now().AddDate(0, 0, -13).Format(time.DateOnly)
	require.Eventually(t, func() bool { return strings.Contains(get(t, plant), "Logbook") }, 2*time.Minute, 500*time.Millisecond,
		"the house's first days arrive over MQTT and show on its page")
	stop()
	select {
	case code := <-done:
		assert.Zero(t, code)
	case <-time.After(time.Minute):
		t.Fatal("the demo does not stop")
	}
	left, err := filepath.Glob(filepath.Join(os.TempDir(), "coldweek-demo-*"))
	require.NoError(t, err)
	assert.Empty(t, left, "nothing is left behind")
}

func get(t *testing.T, url string) string {
	t.Helper()
	response, err := http.Get(url)
	require.NoError(t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	require.NoError(t, err)
	assert.Equal(t, http.StatusOK, response.StatusCode, url)
	return string(body)
}
