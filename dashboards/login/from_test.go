package login

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWhereOneGoesAfterLoggingIn(t *testing.T) {
	for next, want := range map[string]string{
		"/": "/", "/plants/mill?from=2026-01-01": "/plants/mill?from=2026-01-01", "/plants/a%20b": "/plants/a%20b",
		"": "/", "plants": "/", "//evil.example": "/", "///evil.example": "/", "/\\evil.example": "/", "\\\\evil.example": "/",
		"https://evil.example/": "/", "https:evil.example": "/", "javascript:alert(1)": "/", "/\t/evil.example": "/", "/\n/evil.example": "/",
		" //evil.example": "/", "/ /evil": "/", "/%0d%0aSet-Cookie:x": "/%0d%0aSet-Cookie:x", "/login": "/", "/login?next=/login": "/", "/logout": "/",
		"/link/abc": "/", "/%2f/evil.example": "/", "//user@evil.example": "/", "/ä": "/",
	} {
		assert.Equal(t, want, onward(next), next)
	}
	d := newDoor(t, nil)
	for _, next := range []string{"//evil.example", "/\\evil.example", "/.//evil.example", "/plants/..//evil.example"} {
		answer, _ := d.visitor().send(http.MethodPost, "/login", url.Values{"name": {"ada"}, "password": {adaPassword}, "next": {next}})
		to, err := answer.Location()
		require.NoError(t, err)
		assert.Equal(t, strings.TrimPrefix(d.base, "http://"), to.Host, next)
		assert.False(t, strings.HasPrefix(to.Path, "//"), next)
	}
}

// FuzzOnward: wherever one is sent, it is a page of the same host.
func FuzzOnward(f *testing.F) {
	for _, next := range []string{"/plants/mill?from=1", "//evil.example", "/\\evil.example", "/%2f/evil", "https://evil.example"} {
		f.Add(next)
	}
	base := &url.URL{Scheme: "https", Host: "pages.firm.example"}
	f.Fuzz(func(t *testing.T, next string) {
		to := onward(next)
		u, err := url.Parse(to)
		require.NoError(t, err)
		assert.Equal(t, base.Host, base.ResolveReference(u).Host)
		assert.True(t, strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//") && !strings.ContainsAny(to, "\\\t\r\n"), to)
		assert.False(t, strings.HasPrefix(u.Path, "//"), to)
	})
}

func TestProxies(t *testing.T) {
	proxies, err := ParseProxies([]string{"127.0.0.1", "172.16.0.0/12", "::1", "::ffff:10.0.0.1"})
	require.NoError(t, err)
	g := &Gate{Options: Options{Proxies: proxies}}
	at := func(peer string, chain ...string) string {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = peer
		for _, line := range chain {
			r.Header.Add("X-Forwarded-For", line)
		}
		return g.origin(r).address.String()
	}
	assert.Equal(t, "203.0.113.7", at("172.18.0.2:1", "198.51.100.1, 203.0.113.7"))
	assert.Equal(t, "203.0.113.7", at("127.0.0.1:1", "198.51.100.1", "203.0.113.7"), "the last line counts")
	assert.Equal(t, "203.0.113.7", at("[::ffff:10.0.0.1]:1", "203.0.113.7"))
	assert.Equal(t, "192.0.2.1", at("192.0.2.1:1", "203.0.113.7"), "not trusted")
	assert.Equal(t, "127.0.0.1", at("127.0.0.1:1", "unknown"))
	for _, word := range []string{"proxy", "10.0.0.0/33", ""} {
		_, err := ParseProxies([]string{word})
		assert.ErrorContains(t, err, "write 127.0.0.1")
	}
}
