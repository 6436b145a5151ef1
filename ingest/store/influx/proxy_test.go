package influx_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/influx/influxtest"
)

// fault does something to a request in place of passing it on; pass does that.
type fault func(w http.ResponseWriter, r *http.Request, pass http.Handler)

// proxy stands between a store and a server and does to writes what networks,
// and proxies in them, do.
type proxy struct {
	*httptest.Server
	fault  atomic.Pointer[fault]
	writes atomic.Int64
}

func newProxy(t *testing.T, server *influxtest.Server) *proxy {
	target, err := url.Parse(server.URL())
	require.NoError(t, err)
	pass := httputil.NewSingleHostReverseProxy(target)
	p := new(proxy)
	p.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// The whole body first: the server may answer before it has read it,
		// which a ReverseProxy takes for an end of the connection.
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		f := p.fault.Load()
		if !strings.HasSuffix(r.URL.Path, "/write") || f == nil {
			pass.ServeHTTP(w, r)
			return
		}
		p.writes.Add(1)
		(*f)(w, r, pass)
	}))
	t.Cleanup(p.Close)
	return p
}

// inject sets what happens to writes, nil for nothing.
func (p *proxy) inject(f fault) {
	if f == nil {
		p.fault.Store(nil)
		return
	}
	p.fault.Store(&f)
}

// answer answers with a status.
func answer(status int, text string, header ...string) fault {
	return func(w http.ResponseWriter, _ *http.Request, _ http.Handler) {
		for i := 0; i < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		http.Error(w, text, status)
	}
}

func hangUp(w http.ResponseWriter) {
	conn, _, err := w.(http.Hijacker).Hijack()
	if err == nil {
		_ = conn.Close()
	}
}

// cutBefore hangs up before the server has heard of the request.
func cutBefore(w http.ResponseWriter, _ *http.Request, _ http.Handler) { hangUp(w) }

// cutAfter hangs up when the server has done what it was asked to.
func cutAfter(w http.ResponseWriter, r *http.Request, pass http.Handler) {
	pass.ServeHTTP(httptest.NewRecorder(), r)
	hangUp(w)
}

// slow passes on when nobody waits any more.
func slow(_ http.ResponseWriter, r *http.Request, pass http.Handler) {
	<-r.Context().Done()
	pass.ServeHTTP(httptest.NewRecorder(), r.WithContext(context.WithoutCancel(r.Context())))
}

// shorten passes half of the body on, so that the server answers 400.
func shorten(w http.ResponseWriter, r *http.Request, pass http.Handler) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return
	}
	body = body[:len(body)/2]
	r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
	pass.ServeHTTP(w, r)
}

// measure gives the request a length, by which the server knows that it is too
// large: packed bodies come without, and then 1.8 takes any.
func measure(w http.ResponseWriter, r *http.Request, pass http.Handler) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return
	}
	r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
	r.TransferEncoding = nil
	pass.ServeHTTP(w, r)
}

// often does something to two of three writes.
func often(f fault) fault {
	var n atomic.Int64
	return func(w http.ResponseWriter, r *http.Request, pass http.Handler) {
		if n.Add(1)%3 == 0 {
			pass.ServeHTTP(w, r)
			return
		}
		f(w, r, pass)
	}
}
