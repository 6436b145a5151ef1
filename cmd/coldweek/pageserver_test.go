package main

import (
	"bufio"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHeadersWithoutEndAreRefused(t *testing.T) {
	server := httptest.NewUnstartedServer(nil)
	server.Config = pageServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	server.Start()
	defer server.Close()
	status := func(cookie string) int {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL, nil)
		require.NoError(t, err)
		r.Header.Set("Cookie", cookie)
		answer, err := server.Client().Do(r)
		require.NoError(t, err)
		defer answer.Body.Close()
		return answer.StatusCode
	}
	assert.Equal(t, http.StatusOK, status("coldweek="+strings.Repeat("x", 16<<10)), "browsers send such")
	assert.Equal(t, http.StatusRequestHeaderFieldsTooLarge, status("coldweek="+strings.Repeat("x", 80<<10)))
	assert.NotZero(t, server.Config.IdleTimeout, "without, an idle connection is never closed")
}

// TestAFormThatNeverEndsIsLeft, whoever asks for more of it; what comes after a
// form that ended has its own time.
func TestAFormThatNeverEndsIsLeft(t *testing.T) {
	read := make(chan error, 1)
	server := httptest.NewServer(inTime(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, err := io.ReadAll(r.Body)
		read <- err
	}), 50*time.Millisecond))
	t.Cleanup(server.Close)
	connection, err := net.Dial("tcp", server.Listener.Addr().String())
	require.NoError(t, err)
	t.Cleanup(func() { _ = connection.Close() })
	const head = "POST / HTTP/1.1\r\nHost: here\r\nContent-Length: 4\r\n\r\n"
	answers := bufio.NewReader(connection)
	for range 2 {
		_, err = io.WriteString(connection, head+"form")
		require.NoError(t, err)
		require.NoError(t, <-read)
		answer, err := http.ReadResponse(answers, nil)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		time.Sleep(100 * time.Millisecond) // longer than a form may take
	}
	_, err = io.WriteString(connection, head+"fo")
	require.NoError(t, err)
	assert.ErrorIs(t, <-read, os.ErrDeadlineExceeded)
}
