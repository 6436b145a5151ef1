package web

import (
	"bufio"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// follow opens a stream and returns a function that reads its next values.
func follow(t *testing.T, address string) (next func() (liveValues, bool)) {
	t.Helper()
	answer, err := http.Get(address)
	require.NoError(t, err)
	t.Cleanup(func() { answer.Body.Close() })
	require.Equal(t, http.StatusOK, answer.StatusCode)
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	require.Empty(t, answer.Header.Get("Content-Encoding"), "nothing may hold events back")
	lines := bufio.NewScanner(answer.Body)
	return func() (v liveValues, more bool) {
		for lines.Scan() {
			if data, found := strings.CutPrefix(lines.Text(), "data: "); found {
				require.NoError(t, json.Unmarshal([]byte(data), &v))
				return v, true
			}
		}
		return v, false
	}
}

// TestLive: check-house at 10:00 of testdata/telemetry/day.csv; see TestFleetFigures.
func TestLive(t *testing.T) {
	closing := make(chan struct{})
	server := httptest.NewServer(pages(t, func(o *Options) { o.Closing = closing }))
	defer server.Close()
	next := follow(t, server.URL+"/plants/"+checked+"/live")
	v, more := next()
	require.True(t, more)
	assert.Equal(t, checked, v.ID)
	_, lines := linesOf(document(t, pages(t, nil), "/", http.StatusOK))
	shownNow := cells(lines[checked])
	assert.Equal(t, shownNow["n1"], v.Flow+" °C", "as the page says")
	assert.Contains(t, shownNow["now"], v.State)

	all := follow(t, server.URL+"/live?plants="+checked+","+fallen+",nobody")
	var seen []string
	for range 2 {
		v, more = all()
		require.True(t, more)
		seen = append(seen, v.ID+" "+v.State)
	}
	assert.Equal(t, []string{checked + " " + shownStateOf(t, shownNow["now"]), fallen + " Silent"}, seen)

	close(closing)
	_, more = next()
	assert.False(t, more, "it ends with the server")
	_, more = all()
	assert.False(t, more)
}

func shownStateOf(t *testing.T, now string) string {
	t.Helper()
	for _, names := range stateNames {
		if strings.HasPrefix(now, names[0]) {
			return names[0]
		}
	}
	t.Fatalf("%q begins with no state", now)
	return ""
}

func TestLiveIsBounded(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	s, err := newServer(testOptions(w))
	require.NoError(t, err)
	for range mostStreams {
		s.streams <- struct{}{}
	}
	h := s.guarded()
	answer := get(h, "/plants/"+checked+"/live")
	assert.Equal(t, http.StatusServiceUnavailable, answer.Code)
	assert.NotEmpty(t, answer.Header().Get("Retry-After"))
	<-s.streams
	r := httptest.NewRequest(http.MethodHead, "/plants/"+checked+"/live", nil)
	head := httptest.NewRecorder()
	h.ServeHTTP(head, r)
	assert.Equal(t, http.StatusOK, head.Code)
	assert.Equal(t, http.StatusNotFound, get(h, "/plants/nobody/live").Code)
	assert.Equal(t, http.StatusNotFound, get(h, "/live?plants=nobody").Code)
	assert.Len(t, s.streams, mostStreams-1, "places are given back")
}
