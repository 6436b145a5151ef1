package main

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

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
