package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

func TestEveryAnswerIsGuarded(t *testing.T) {
	h := pages(t, nil)
	for _, address := range []string{"/", "/plants/" + london, "/plants/nobody", "/nowhere", "/static/coldweek.css", "/static/none", "/plants/" + london + "/trace.svg?day=2026-01-14"} {
		header := get(h, address).Header()
		policy := header.Get("Content-Security-Policy")
		assert.True(t, strings.HasPrefix(policy, "default-src 'self'"), address)
		assert.NotContains(t, policy, "unsafe", address)
		assert.Equal(t, "nosniff", header.Get("X-Content-Type-Options"), address)
		assert.Equal(t, "same-origin", header.Get("Referrer-Policy"), address)
	}
}

func TestOnlyReading(t *testing.T) {
	h := pages(t, nil)
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "BREW"} {
		w := httptest.NewRecorder()
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Method = method
		h.ServeHTTP(w, r)
		assert.Equal(t, http.StatusMethodNotAllowed, w.Code, method)
		assert.Equal(t, "GET, HEAD", w.Header().Get("Allow"), method)
	}
}

func TestHeadHasNoBody(t *testing.T) {
	server := httptest.NewServer(pages(t, nil))
	defer server.Close()
	answer, err := http.Head(server.URL + "/")
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Empty(t, body)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	assert.Equal(t, "text/html; charset=utf-8", answer.Header.Get("Content-Type"))
}

func TestPagesTravelSmall(t *testing.T) {
	h := pages(t, nil)
	address := "/plants/check-house?day=2026-01-10"
	plain := get(h, address).Body.Bytes()
	r := httptest.NewRequest(http.MethodGet, address, nil)
	r.Header.Set("Accept-Encoding", "gzip")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	require.Equal(t, "gzip", w.Header().Get("Content-Encoding"))
	assert.Less(t, w.Body.Len(), len(plain)/2)
	unpacked, err := gzip.NewReader(w.Body)
	require.NoError(t, err)
	body, err := io.ReadAll(unpacked)
	require.NoError(t, err)
	assert.Equal(t, plain, body)
}

func TestStaticFiles(t *testing.T) {
	h := pages(t, nil)
	sheet := get(h, "/static/coldweek.css")
	assert.Equal(t, "text/css; charset=utf-8", sheet.Header().Get("Content-Type"))
	assert.Equal(t, "no-cache", sheet.Header().Get("Cache-Control"))
	assert.Contains(t, sheet.Body.String(), "--cw-flow", "the charts' palette")
	assert.Equal(t, "no-cache", get(h, "/static/coldweek.css?v=0000").Header().Get("Cache-Control"), "another version must not stick")
	doc := document(t, h, "/", http.StatusOK)
	for _, n := range all(doc, "script") {
		w := get(h, attribute(n, "src"))
		assert.Equal(t, http.StatusOK, w.Code)
		assert.Contains(t, w.Header().Get("Content-Type"), "javascript")
		assert.Contains(t, w.Header().Get("Cache-Control"), "immutable")
	}
	assert.Equal(t, http.StatusNotFound, get(h, "/static/nothing.css").Code)
	assert.Equal(t, http.StatusNotFound, get(h, "/static/%2e%2e%2fweb.go").Code)
}

// broken is a store whose readings cannot be read.
type broken struct {
	Store
	why func() error
}

func (b broken) Extents(context.Context, string) ([]store.Extent, error) { return nil, b.why() }

// TestFaultsStayInTheLog: the page says that there was a fault, the log says
// which.
func TestFaultsStayInTheLog(t *testing.T) {
	secret := "disk /dev/secret is on fire"
	for name, why := range map[string]func() error{
		"error": func() error { return errors.New(secret) },
		"panic": func() error { panic(secret) },
	} {
		t.Run(name, func(t *testing.T) {
			var log bytes.Buffer
			h := pages(t, func(o *Options) {
				o.Store, o.Logger = broken{o.Store, why}, slog.New(slog.NewTextHandler(&log, nil))
			})
			w := get(h, "/plants/"+london)
			assert.Equal(t, http.StatusInternalServerError, w.Code)
			assert.Contains(t, w.Body.String(), "This page could not be made")
			assert.NotContains(t, w.Body.String(), "secret")
			assert.NotContains(t, w.Body.String(), ".go:")
			assert.Contains(t, log.String(), secret)
		})
	}
}

func TestWhoLeavesIsNotAFault(t *testing.T) {
	var log bytes.Buffer
	h := pages(t, func(o *Options) { o.Logger = slog.New(slog.NewTextHandler(&log, nil)) })
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/plants/"+london, nil).WithContext(ctx))
	assert.Empty(t, log.String())
}

func TestNotice(t *testing.T) {
	h := pages(t, func(o *Options) { o.Notice = func() string { return "Day 3 of 7 <played>" } })
	assert.Contains(t, get(h, "/").Body.String(), `<p class="notice" role="status">Day 3 of 7 &lt;played&gt;</p>`)
	assert.NotContains(t, get(pages(t, nil), "/").Body.String(), `class="notice"`)
}

func TestOptionsMustBeComplete(t *testing.T) {
	_, err := New(Options{})
	assert.EqualError(t, err, "pages: no store")
	_, err = New(Options{Store: broken{}})
	assert.EqualError(t, err, "pages: no sites")
	_, err = New(Options{Store: broken{}, Sites: func() []*site.Record { return nil }})
	assert.EqualError(t, err, "pages: no clock")
}
