package login

import (
	"crypto/tls"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSessionIsNewAtLogIn: a token that somebody planted in the browser, or that
// it had before, is nobody's afterwards.
func TestSessionIsNewAtLogIn(t *testing.T) {
	d := newDoor(t, nil)
	v := d.visitor()
	base, err := url.Parse(d.base)
	require.NoError(t, err)
	planted := string(newToken())
	v.Jar.SetCookies(base, []*http.Cookie{{Name: "coldweek", Value: planted, Path: "/"}})
	assert.False(t, v.sees("/"))
	first := v.in("ada", adaPassword).cookie("coldweek", "/")
	assert.NotEqual(t, planted, first)
	second := v.in("lee", leePassword).cookie("coldweek", "/")
	assert.NotEqual(t, first, second)
	for token, want := range map[string]bool{planted: false, first: false, second: true, "": false, second + "A": false, second[1:]: false} {
		answer, _ := d.visitor().get("/", "Cookie: coldweek="+token)
		assert.Equal(t, want, answer.StatusCode == http.StatusOK, token)
	}
	text, err := os.ReadFile(d.options().SessionsPath)
	require.NoError(t, err)
	assert.NotContains(t, string(text), second, "the file holds digests only")
	info, err := os.Stat(d.options().SessionsPath)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

func TestCookies(t *testing.T) {
	one := func(answer *http.Response) *http.Cookie {
		require.Len(t, answer.Cookies(), 1)
		return answer.Cookies()[0]
	}
	d := newDoor(t, func(o *Options) { o.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")} })
	cookie := one(d.visitor().logIn("ada", adaPassword))
	assert.Equal(t, "coldweek", cookie.Name)
	assert.False(t, cookie.Secure)
	for _, c := range []*http.Cookie{
		cookie,
		one(d.visitor().logIn("ada", adaPassword, "X-Forwarded-Proto: https")),
	} {
		assert.True(t, c.HttpOnly)
		assert.Equal(t, http.SameSiteLaxMode, c.SameSite)
		assert.Equal(t, "/", c.Path)
		assert.Empty(t, c.Domain)
		assert.Equal(t, 30*24*60*60, c.MaxAge)
	}
	cookie = one(d.visitor().logIn("ada", adaPassword, "X-Forwarded-Proto: https"))
	assert.Equal(t, "__Host-coldweek", cookie.Name)
	assert.True(t, cookie.Secure)
	answer, _ := d.visitor().get("/", "X-Forwarded-Proto: https", "Cookie: coldweek="+cookie.Value)
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode, "by TLS the plain cookie, which anybody can plant, counts for nothing")
	answer, _ = d.visitor().get("/", "X-Forwarded-Proto: https", "Cookie: __Host-coldweek="+cookie.Value)
	assert.Equal(t, http.StatusOK, answer.StatusCode)

	d = newDoor(t, nil)
	cookie = one(d.visitor().logIn("ada", adaPassword, "X-Forwarded-Proto: https"))
	assert.Equal(t, "coldweek", cookie.Name, "a proxy that is not trusted is not believed")

	server := httptest.NewTLSServer(d.gate.Guard(d.pages()))
	defer server.Close()
	d.base = server.URL
	v := d.visitor()
	v.Transport = &http.Transport{TLSClientConfig: &tls.Config{RootCAs: server.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs}}
	cookie = one(v.logIn("ada", adaPassword))
	assert.Equal(t, "__Host-coldweek", cookie.Name)
	assert.True(t, cookie.Secure)
	assert.True(t, v.sees("/"))
}

func TestSessionsEnd(t *testing.T) {
	d := newDoor(t, nil)
	v := d.visitor().in("ada", adaPassword)
	for range 4 { // used every 6 days and 23 hours
		d.later(7*24*time.Hour - time.Hour)
		require.True(t, v.sees("/"))
	}
	d.later(30*24*time.Hour - d.clock().Sub(noon) - time.Second)
	require.True(t, v.sees("/"))
	d.later(time.Second)
	assert.False(t, v.sees("/"), "30 days are the longest")

	v.in("ada", adaPassword)
	d.later(7*24*time.Hour - time.Second)
	other := d.visitor().in("ada", adaPassword)
	d.open(nil)
	v.d, other.d = d, d
	d.later(time.Second)
	assert.False(t, v.sees("/"), "a week without a look")
	assert.True(t, other.sees("/"), "and a restart in between, which ends nothing")
}

func TestLogOut(t *testing.T) {
	d := newDoor(t, nil)
	v, elsewhere := d.visitor().in("lee", leePassword), d.visitor().in("lee", leePassword)
	answer, _ := v.get("/logout")
	assert.Equal(t, http.StatusOK, answer.StatusCode, "looking at it is a page like others")
	require.True(t, v.sees("/"), "and logs nobody out")
	answer, _ = v.send(http.MethodPost, "/logout", url.Values{})
	assert.Equal(t, http.StatusForbidden, answer.StatusCode)
	answer, _ = v.send(http.MethodPost, "/logout", url.Values{"form_token": {v.formToken()}}, "Sec-Fetch-Site: cross-site")
	assert.Equal(t, http.StatusForbidden, answer.StatusCode)
	require.True(t, v.sees("/"))

	stolen := v.cookie("coldweek", "/")
	answer, _ = v.send(http.MethodPost, "/logout", url.Values{"form_token": {v.formToken()}})
	assert.Equal(t, "/login?out", answer.Header.Get("Location"))
	_, page := v.get("/login?out")
	assert.Contains(t, page, "You are logged out.")
	assert.Empty(t, v.cookie("coldweek", "/"))
	answer, _ = d.visitor().get("/", "Cookie: coldweek="+stolen)
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode, "the token is nobody's any more")
	assert.True(t, elsewhere.sees("/"), "another browser stays logged in")
	answer, _ = v.send(http.MethodPost, "/logout", nil)
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode)
}

func TestDamagedSessionsCostALogIn(t *testing.T) {
	d := newDoor(t, nil)
	v := d.visitor().in("ada", adaPassword)
	require.NoError(t, os.WriteFile(d.options().SessionsPath, []byte("{"), 0o600))
	d.open(nil)
	assert.False(t, v.sees("/"))
	v.in("ada", adaPassword)
	d.open(nil)
	assert.True(t, v.sees("/"))
	assert.Contains(t, d.logged(), "sessions cannot be read and begin anew")
}

func TestRehashKeepsSessions(t *testing.T) {
	d := newDoor(t, nil)
	v := d.visitor().in("ada", adaPassword)
	d.users.cost = cost{passes: 2, memoryKiB: 64, lanes: 1}
	other := d.visitor().in("ada", adaPassword)
	assert.True(t, v.sees("/"))
	assert.True(t, other.sees("/"))
	list, err := d.users.List()
	require.NoError(t, err)
	assert.Contains(t, list[0].Hash, "t=2")
	assert.Contains(t, d.logged(), "password kept at today's cost")
}

func TestSessionsOfAUserAreBounded(t *testing.T) {
	s, err := openSessions(filepath.Join(t.TempDir(), "sessions.json"))
	require.NoError(t, err)
	var tokens []token
	for i := range sessionsEach + 5 {
		one, err := s.begin(User{Name: "ada"}, noon.Add(time.Duration(i)*time.Minute))
		require.NoError(t, err)
		tokens = append(tokens, one)
	}
	_, err = s.begin(User{Name: "lee"}, noon)
	require.NoError(t, err)
	for i, one := range tokens {
		_, ok, err := s.find(one, noon.Add(time.Hour))
		require.NoError(t, err)
		assert.Equal(t, i >= 5, ok, i)
	}
	assert.Len(t, s.all, sessionsEach+1)
}
