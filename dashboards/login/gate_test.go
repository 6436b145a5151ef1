package login

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPagesAskForALogIn(t *testing.T) {
	d := newDoor(t, nil)
	v := d.visitor()
	answer, _ := v.get("/plants/mill?from=2026-01-01&to=2026-01-08")
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode)
	assert.Equal(t, "/login?next=%2Fplants%2Fmill%3Ffrom%3D2026-01-01%26to%3D2026-01-08", answer.Header.Get("Location"))
	answer, page := v.get(answer.Header.Get("Location"))
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	assert.Contains(t, page, `value="/plants/mill?from=2026-01-01&amp;to=2026-01-08"`)
	assert.Equal(t, "no-store", answer.Header.Get("Cache-Control"))
	policy := answer.Header.Get("Content-Security-Policy")
	assert.Contains(t, policy, "default-src 'none'")
	assert.NotContains(t, policy, "unsafe")
	assert.NotContains(t, page, "<script")
	assert.NotContains(t, page, "style=")
	assert.True(t, v.sees("/static/coldweek.css"), "the log-in page needs it")
	assert.True(t, v.sees("/login.css"))
	assert.False(t, v.sees("/static/"), "names only")
	assert.False(t, v.sees("/static/%2e%2e"+"/plants/mill"))

	v.in("ada", adaPassword)
	answer, page = v.get("/plants/mill")
	assert.Equal(t, `GET /plants/mill by "ada" may true link false said ""`, page)
	assert.Equal(t, "private, no-cache", answer.Header.Get("Cache-Control"))
	assert.Equal(t, "Cookie", answer.Header.Get("Vary"))
	answer, _ = v.get("/login?next=/plants/mill")
	assert.Equal(t, "/plants/mill", answer.Header.Get("Location"), "who is logged in goes on")
	assert.Contains(t, d.logged(), `msg="logged in" user=ada role=engineer address=127.0.0.1`)
}

func TestUsersFileChangesWhileRunning(t *testing.T) {
	d := newDoor(t, nil)
	ada, lee := d.visitor().in("ada", adaPassword), d.visitor().in("lee", leePassword)
	own := NewUsers(d.users.path) // as another process
	own.cost = cheap
	require.NoError(t, own.SetPassword("ada", "another password"))
	assert.False(t, ada.sees("/"), "a new password logs out everywhere")
	assert.Equal(t, http.StatusForbidden, ada.logIn("ada", adaPassword).StatusCode)
	ada.in("ada", "another password")
	assert.True(t, lee.sees("/"))

	text, err := os.ReadFile(own.path)
	require.NoError(t, err)
	promoted := bytes.Replace(text, []byte("role: viewer"), []byte("role: engineer"), 1)
	require.NoError(t, os.WriteFile(own.path, promoted, 0o600)) // as an editor does
	_, page := lee.get("/")
	assert.Contains(t, page, `"lee" may true`)
	_, err = own.Remove("lee")
	require.NoError(t, err)
	assert.False(t, lee.sees("/"))
	require.NoError(t, own.Add(User{Name: "lee", Role: Viewer}, leePassword))
	assert.False(t, lee.sees("/"), "one of the same name is somebody else")

	for what, damage := range map[string]func(){
		"damaged":  func() { require.NoError(t, os.WriteFile(own.path, []byte("users: ["), 0o600)) },
		"a folder": func() { require.NoError(t, os.Mkdir(own.path, 0o700)) },
		"writable by others": func() {
			require.NoError(t, os.WriteFile(own.path, promoted, 0o600))
			require.NoError(t, os.Chmod(own.path, 0o666))
		},
	} {
		require.NoError(t, os.RemoveAll(own.path))
		damage()
		answer, page := ada.get("/")
		assert.Equal(t, http.StatusServiceUnavailable, answer.StatusCode, what)
		assert.Contains(t, page, "Nobody can be let in just now", what)
		assert.NotContains(t, page, own.path, what)
		assert.Equal(t, http.StatusServiceUnavailable, d.visitor().logIn("ada", "another password").StatusCode, what)
	}
	assert.Contains(t, d.logged(), "chmod 600")
	for _, text := range []string{"", "users: []\n"} {
		require.NoError(t, os.WriteFile(own.path, []byte(text), 0o600))
		require.NoError(t, os.Chmod(own.path, 0o600))
		answer, _ := ada.get("/")
		assert.Equal(t, http.StatusSeeOther, answer.StatusCode, "no users left does not open the pages")
	}
	require.NoError(t, os.Remove(own.path))
	assert.False(t, ada.sees("/"))
}

func TestForms(t *testing.T) {
	d := newDoor(t, nil)
	ada := d.visitor().in("ada", adaPassword)
	token := ada.formToken()
	other := d.visitor().in("ada", adaPassword).formToken()
	assert.NotEqual(t, token, other)
	note := func(token string) url.Values { return url.Values{"form_token": {token}, "note": {"strainer"}} }
	for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodPatch} {
		for _, wrong := range []string{"", other, token + "x", token[1:], strings.ToUpper(token)} {
			answer, page := ada.send(method, "/plants/mill", note(wrong))
			assert.Equal(t, http.StatusForbidden, answer.StatusCode, method)
			assert.Contains(t, page, "no longer good")
		}
	}
	answer, _ := ada.send(http.MethodPost, "/plants/mill?form_token="+token, url.Values{"note": {"x"}})
	assert.Equal(t, http.StatusForbidden, answer.StatusCode, "in the address it does not count")
	long := note(token)
	long.Set("note", strings.Repeat("x", 70<<10))
	answer, page := ada.send(http.MethodPost, "/plants/mill", long)
	assert.Equal(t, http.StatusBadRequest, answer.StatusCode, "what is too long is not called old")
	assert.Contains(t, page, "longer than 64 kB")
	for _, from := range []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Site: same-site", "Origin: https://elsewhere.example", "Origin: null"} {
		answer, page := ada.send(http.MethodPost, "/plants/mill", note(token), from)
		assert.Equal(t, http.StatusForbidden, answer.StatusCode, from)
		assert.Contains(t, page, "came from another site", from)
	}
	assert.NotContains(t, d.logged(), "strainer")
	for _, from := range []string{"Sec-Fetch-Site: same-origin", "Origin: " + d.base, "Origin: https://pages.firm.example"} {
		_, page := ada.send(http.MethodPost, "/plants/mill", note(token), from)
		assert.Equal(t, `POST /plants/mill by "ada" may true link false said "strainer"`, page, from)
	}
	answer, _ = d.visitor().logInFrom("Sec-Fetch-Site: cross-site")
	assert.Equal(t, http.StatusForbidden, answer.StatusCode, "nor can another site log somebody in")
	answer, page = d.visitor().send(http.MethodPost, "/plants/mill", note(token))
	assert.Equal(t, http.StatusForbidden, answer.StatusCode)
	assert.Contains(t, page, "You are not logged in")
}

func (v *visitor) logInFrom(header string) (*http.Response, string) {
	return v.send(http.MethodPost, "/login", url.Values{"name": {"ada"}, "password": {adaPassword}}, header)
}

func TestViewersLook(t *testing.T) {
	d := newDoor(t, nil)
	lee := d.visitor().in("lee", leePassword)
	_, page := lee.get("/plants/mill")
	assert.Contains(t, page, `"lee" may false`)
	answer, _ := lee.send(http.MethodHead, "/plants/mill", nil)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodPatch, http.MethodOptions, "NOTE"} {
		answer, page := lee.send(method, "/plants/mill", url.Values{"form_token": {lee.formToken()}})
		assert.Equal(t, http.StatusForbidden, answer.StatusCode, method)
		assert.Contains(t, page, "You can look, but not change")
	}
	assert.Contains(t, d.logged(), `msg="change refused to a viewer" user=lee path=/plants/mill`)
}

func TestOpenPages(t *testing.T) {
	d := &door{t: t, dir: t.TempDir(), now: noon}
	d.users, d.links = NewUsers(filepath.Join(d.dir, "users.yaml")), NewLinks(d.dir)
	d.users.cost = cheap
	_, err := New(d.options())
	require.ErrorIs(t, err, ErrNoUsers)
	d.open(func(o *Options) { o.Open = true })
	assert.True(t, d.gate.Open())
	v := d.visitor()
	_, page := v.get("/plants/mill")
	assert.Equal(t, `GET /plants/mill by "" may true link false said ""`, page)
	answer, _ := v.get("/login?next=/plants/mill")
	assert.Equal(t, "/plants/mill", answer.Header.Get("Location"))
	for host, want := range map[string]int{
		"localhost": 200, "localhost:8137": 200, "127.0.0.1": 200, "[::1]:8137": 200, "192.0.2.7:8137": 200, "pages.firm.example": 200,
		"evil.example": 421, "evil.example:8137": 421, "localhost.evil.example": 421,
	} {
		answer, _ := v.get("/", "Host: "+host)
		assert.Equal(t, want, answer.StatusCode, host)
	}
	answer, _ = v.send(http.MethodPost, "/plants/mill", url.Values{"note": {"x"}})
	assert.Equal(t, http.StatusForbidden, answer.StatusCode, "forms carry a token here too")
	answer, _ = v.send(http.MethodPost, "/plants/mill", url.Values{"note": {"x"}, "form_token": {v.formToken()}}, "Sec-Fetch-Site: cross-site")
	assert.Equal(t, http.StatusForbidden, answer.StatusCode)
	answer, _ = v.send(http.MethodPost, "/plants/mill", url.Values{"note": {"x"}, "form_token": {v.formToken()}})
	assert.Equal(t, http.StatusOK, answer.StatusCode)

	require.NoError(t, d.users.Add(User{Name: "ada", Role: Engineer}, adaPassword))
	assert.False(t, v.sees("/"), "with the first user they close")
	_, err = d.users.Remove("ada")
	require.NoError(t, err)
	assert.False(t, v.sees("/"), "and stay closed until a restart")
	assert.False(t, d.gate.Open())
	d.open(func(o *Options) { o.Open, o.AnyName = true, true })
	answer, _ = v.get("/", "Host: pages.elsewhere.example")
	assert.Equal(t, http.StatusOK, answer.StatusCode)
}

func TestMachines(t *testing.T) {
	d := newDoor(t, func(o *Options) { o.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")} })
	mux := http.NewServeMux()
	mux.Handle("/", d.gate.Guard(d.pages()))
	mux.Handle("GET /metrics", d.gate.Machines(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "numbers") })))
	server := httptest.NewServer(mux)
	defer server.Close()
	d.base = server.URL
	v := d.visitor()
	for _, headers := range [][]string{{"X-Forwarded-For: 203.0.113.7"}, {"X-Forwarded-For: 10.0.0.1"}, {"Forwarded: for=203.0.113.7"}, {"X-Forwarded-Proto: https"}} {
		answer, page := v.get("/metrics", headers...)
		assert.Equal(t, http.StatusForbidden, answer.StatusCode, headers)
		assert.NotContains(t, page, "numbers")
	}
	assert.True(t, v.sees("/metrics"), "from this machine")
	v.in("lee", leePassword)
	answer, _ := v.get("/metrics", "X-Forwarded-For: 203.0.113.7")
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	for address, want := range map[string]int{"192.168.1.9:5": 200, "[fd00::1]:5": 200, "172.18.0.3:5": 200, "[::ffff:10.0.0.1]:5": 200, "203.0.113.7:5": 403, "[2001:db8::1]:5": 403, "@": 403} {
		w := httptest.NewRecorder()
		r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
		r.RemoteAddr = address
		mux.ServeHTTP(w, r)
		assert.Equal(t, want, w.Code, address)
	}
}
