package metrics_test

import (
	"database/sql"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/metrics"
	"coldweek/ingest/receive"
)

// TestHealthFollowsTheLastCommit: another process holds the store's file, so
// that commits fail, and lets go of it again.
func TestHealthFollowsTheLastCommit(t *testing.T) {
	s := begin(t, "mill-cottage")
	h := metrics.Health(s.intake.Stats)
	ask := func() (int, string) {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/healthz", nil))
		return w.Code, w.Body.String()
	}
	code, text := ask()
	assert.Equal(t, http.StatusOK, code, "a service that has heard nothing yet is well")
	assert.Equal(t, "ok\n", text)

	other, err := sql.Open("sqlite", s.path)
	require.NoError(t, err)
	defer func() { assert.NoError(t, other.Close()) }()
	other.SetMaxOpenConns(1)
	_, err = other.Exec("BEGIN IMMEDIATE")
	require.NoError(t, err)
	kept := make(chan error, 1)
	message := receive.Message{Topic: "coldweek/mill-cottage/power", Payload: []byte("900")}
	require.NoError(t, s.intake.Submit(t.Context(), message, func(err error) { kept <- err }))
	require.Eventually(t, func() bool { code, _ = ask(); return code == http.StatusServiceUnavailable }, time.Minute, 5*time.Millisecond)
	_, text = ask()
	assert.Contains(t, text, "readings cannot be kept")
	assert.Contains(t, text, "locked")

	_, err = other.Exec("ROLLBACK")
	require.NoError(t, err)
	require.NoError(t, <-kept)
	code, text = ask()
	assert.Equal(t, http.StatusOK, code)
	assert.Equal(t, "ok\n", text)
}
