package login

import (
	"bytes"
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// door is a gate on a real server, with a clock to turn.
type door struct {
	t     testing.TB
	dir   string
	users *Users
	links *Links
	gate  *Gate
	base  string

	mu  sync.Mutex
	now time.Time
	log bytes.Buffer
}

// Write takes the log.
func (d *door) Write(b []byte) (int, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.log.Write(b)
}

func (d *door) logged() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.log.String()
}

func (d *door) clock() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.now
}

func (d *door) later(wait time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.now = d.now.Add(wait)
}

// options are those of a gate in the door's folder.
func (d *door) options() Options {
	return Options{
		Users: d.users, Links: d.links, SessionsPath: filepath.Join(d.dir, "sessions.json"), FormField: "form_token",
		Now: d.clock, Logger: slog.New(slog.NewTextHandler(d, nil)), PagesURL: public,
	}
}

// newDoor has the users ada, an engineer, and lee, a viewer.
func newDoor(t testing.TB, change func(*Options)) *door {
	t.Helper()
	d := &door{t: t, dir: t.TempDir(), now: noon}
	d.users, d.links = NewUsers(filepath.Join(d.dir, "users.yaml")), NewLinks(d.dir)
	d.users.cost = cheap
	require.NoError(t, d.users.Add(User{Name: "ada", Role: Engineer}, adaPassword))
	require.NoError(t, d.users.Add(User{Name: "lee", Role: Viewer}, leePassword))
	d.open(change)
	return d
}

// open puts a gate before pages that say who looks, as after a restart.
func (d *door) open(change func(*Options)) {
	d.t.Helper()
	o := d.options()
	if change != nil {
		change(&o)
	}
	var err error
	d.gate, err = New(o)
	require.NoError(d.t, err)
	d.serve(d.gate.Guard(d.pages()))
}

func (d *door) serve(handler http.Handler) {
	server := httptest.NewServer(handler)
	d.t.Cleanup(server.Close)
	d.base = server.URL
}

// pages stand behind the gate: each says who asks and what its forms carry.
func (d *door) pages() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name, may := d.gate.Who(r)
		w.Header().Set("Cache-Control", "no-cache")
		w.Header().Set("Referrer-Policy", "same-origin")
		w.Header().Set("Form-Token", d.gate.FormToken(r))
		fmt.Fprintf(w, "%s %s by %q may %v link %v said %q", r.Method, r.URL.Path, name, may, d.gate.ByLink(r), r.PostFormValue("note"))
	})
}

// visitor is a browser that keeps cookies and follows no redirect.
type visitor struct {
	*http.Client
	d *door
}

func (d *door) visitor() *visitor {
	d.t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(d.t, err)
	return &visitor{&http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, d}
}

// send asks, with header lines such as "Origin: x".
func (v *visitor) send(method, address string, form url.Values, headers ...string) (*http.Response, string) {
	v.d.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(v.d.t.Context(), method, v.d.base+address, body)
	require.NoError(v.d.t, err)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for _, line := range headers {
		name, value, _ := strings.Cut(line, ": ")
		if name == "Host" {
			r.Host = value
		}
		r.Header.Set(name, value)
	}
	answer, err := v.Do(r)
	require.NoError(v.d.t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(v.d.t, err)
	return answer, string(text)
}

func (v *visitor) get(address string, headers ...string) (*http.Response, string) {
	v.d.t.Helper()
	return v.send(http.MethodGet, address, nil, headers...)
}

func (v *visitor) logIn(name, password string, headers ...string) *http.Response {
	v.d.t.Helper()
	answer, _ := v.send(http.MethodPost, "/login", url.Values{"name": {name}, "password": {password}, "next": {"/plants/mill"}}, headers...)
	return answer
}

// in logs in, which has to succeed.
func (v *visitor) in(name, password string) *visitor {
	v.d.t.Helper()
	answer := v.logIn(name, password)
	require.Equal(v.d.t, http.StatusSeeOther, answer.StatusCode)
	require.Equal(v.d.t, "/plants/mill", answer.Header.Get("Location"))
	return v
}

// sees says whether a page is shown.
func (v *visitor) sees(address string) bool {
	v.d.t.Helper()
	answer, _ := v.get(address)
	return answer.StatusCode == http.StatusOK
}

// cookie returns the value of a cookie the browser holds for an address.
func (v *visitor) cookie(name, address string) string {
	u, err := url.Parse(v.d.base + address)
	require.NoError(v.d.t, err)
	for _, c := range v.Jar.Cookies(u) {
		if c.Name == name {
			return c.Value
		}
	}
	return ""
}

func (v *visitor) formToken() string {
	answer, _ := v.get("/")
	return answer.Header.Get("Form-Token")
}

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

func TestWrongPasswordsAreAnsweredAlike(t *testing.T) {
	d := newDoor(t, nil)
	v := d.visitor()
	var pages []string
	for _, name := range []string{"ada", "nob", "Ada", ""} {
		answer, page := v.send(http.MethodPost, "/login", url.Values{"name": {name}, "password": {leePassword}})
		assert.Equal(t, http.StatusForbidden, answer.StatusCode)
		assert.Empty(t, answer.Cookies())
		assert.NotContains(t, page, leePassword)
		page = strings.ReplaceAll(page, " autofocus", "")
		for _, typed := range []string{"ada", "nob"} {
			page = strings.ReplaceAll(page, `value="`+typed+`"`, `value=""`)
		}
		pages = append(pages, page)
		assert.Equal(t, pages[0], page, "names cannot be told apart")
	}
	assert.Contains(t, pages[0], "Name or password is not right.")
	v.in("Ada ", adaPassword) // as a phone's keyboard begins a name
	answer, _ := d.visitor().send(http.MethodPost, "/login", url.Values{"name": {leePassword}, "password": {""}})
	assert.Equal(t, http.StatusForbidden, answer.StatusCode)
	assert.Contains(t, d.logged(), `msg="log-in refused" user=(unknown)`)
	for _, secret := range []string{adaPassword, leePassword, v.cookie("coldweek", "/")} {
		assert.NotContains(t, d.logged(), secret)
	}
	answer, _ = v.send(http.MethodPost, "/login", url.Values{"name": {"ada"}, "password": {strings.Repeat("x", 9000)}})
	assert.Equal(t, http.StatusBadRequest, answer.StatusCode)
}

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
	answer, page := d.visitor().send(http.MethodPost, "/plants/mill", note(token))
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

func TestGuessing(t *testing.T) {
	d := newDoor(t, func(o *Options) { o.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")} })
	v := d.visitor()
	from := func(i int) string { return fmt.Sprintf("X-Forwarded-For: 198.51.100.200, 203.0.113.%d", i) }
	for i := range triesByName {
		require.Equal(t, http.StatusForbidden, v.logIn("ada", fmt.Sprintf("guess number %d", i), from(i)).StatusCode)
	}
	answer := v.logIn("ada", adaPassword, from(100))
	assert.Equal(t, http.StatusTooManyRequests, answer.StatusCode, "from any address, and be it right")
	assert.Equal(t, "30", answer.Header.Get("Retry-After"))
	assert.Equal(t, http.StatusForbidden, v.logIn("nobody", "guess", from(100)).StatusCode, "others can try")
	d.later(againByName)
	assert.Equal(t, http.StatusSeeOther, v.logIn("ada", adaPassword, from(100)).StatusCode)

	for i := range triesByAddress {
		require.Equal(t, http.StatusForbidden, v.logIn(fmt.Sprintf("name-%d", i), "guess", from(50)).StatusCode)
	}
	assert.Equal(t, http.StatusTooManyRequests, v.logIn("lee", leePassword, from(50)).StatusCode, "one address, many names")
	assert.Equal(t, http.StatusSeeOther, v.logIn("lee", leePassword, from(51)).StatusCode)
	d.later(againByAddress)
	assert.Equal(t, http.StatusSeeOther, v.logIn("lee", leePassword, from(50)).StatusCode)

	for i := range triesByAddress {
		v.logIn(fmt.Sprintf("name-%d", i), "guess", fmt.Sprintf("X-Forwarded-For: 2001:db8:1:2::%x", i))
	}
	assert.Equal(t, http.StatusTooManyRequests, v.logIn("lee", leePassword, "X-Forwarded-For: 2001:db8:1:2:ffff::1").StatusCode, "a /64 is one asker")
	assert.Equal(t, http.StatusSeeOther, v.logIn("lee", leePassword, "X-Forwarded-For: 2001:db8:1:3::1").StatusCode)
	assert.Contains(t, d.logged(), `too many tries" user=ada address=203.0.113.100`)
}

// TestUnknownNamesAreHeldBackToo, as a name that exists is, so that the two
// cannot be told apart.
func TestUnknownNamesAreHeldBackToo(t *testing.T) {
	p := newPace(againByName, triesByName)
	for _, name := range []string{"ada", "nobody"} {
		for range triesByName {
			assert.Zero(t, p.try(name, noon))
		}
		assert.Equal(t, againByName, p.try(name, noon))
		assert.Equal(t, againByName, p.try(name, noon), "trying too early costs nothing")
	}
	for i := range 100_000 {
		p.try(fmt.Sprintf("name-%d", i), noon)
	}
	assert.Len(t, p.buckets, paceBuckets, "whatever is tried")
}

func TestManyLogInsAtOnce(t *testing.T) {
	d := newDoor(t, func(o *Options) { o.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")} })
	require.NoError(t, d.users.Add(User{Name: "kim", Role: Engineer}, "a third password"))
	var all sync.WaitGroup
	tokens := make(chan string, 100)
	for i := range 24 {
		all.Go(func() {
			name, password := [3]string{"ada", "lee", "kim"}[i%3], [3]string{adaPassword, leePassword, "a third password"}[i%3]
			v := d.visitor()
			for range 3 {
				answer := v.logIn(name, password, fmt.Sprintf("X-Forwarded-For: 203.0.113.%d", i))
				if answer.StatusCode == http.StatusSeeOther {
					_, page := v.get("/")
					assert.Contains(t, page, fmt.Sprintf("by %q", name))
					tokens <- v.cookie("coldweek", "/")
				} else {
					assert.Equal(t, http.StatusTooManyRequests, answer.StatusCode)
				}
			}
		})
	}
	all.Wait()
	close(tokens)
	seen := map[string]bool{}
	for token := range tokens {
		assert.False(t, seen[token], "a token is nobody else's")
		seen[token] = true
	}
	assert.Len(t, seen, 3*triesByName, "each name has its tries")
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

func TestLinkOpensTheNotesOfOnePlant(t *testing.T) {
	d := newDoor(t, nil)
	token := mint(t, d.links, "mill")
	v := d.visitor()
	answer, _ := v.get("/link/" + token)
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode)
	assert.Equal(t, "/plants/mill/notes", answer.Header.Get("Location"), "the token stands in no further address")
	assert.Equal(t, "no-store", answer.Header.Get("Cache-Control"))
	assert.Equal(t, "no-referrer", answer.Header.Get("Referrer-Policy"))
	cookie := answer.Cookies()[0]
	assert.Equal(t, "/plants/mill/notes", cookie.Path)
	assert.True(t, cookie.HttpOnly)
	assert.Equal(t, http.SameSiteLaxMode, cookie.SameSite)
	assert.Equal(t, 90*24*60*60, cookie.MaxAge)

	for _, address := range []string{"/plants/mill/notes", "/plants/mill/notes/2026-01"} {
		answer, page := v.get(address)
		assert.Equal(t, `GET `+address+` by "" may false link true said ""`, page)
		assert.Equal(t, "no-store", answer.Header.Get("Cache-Control"))
		assert.Equal(t, "no-referrer", answer.Header.Get("Referrer-Policy"))
		assert.Empty(t, answer.Header.Get("Form-Token"))
	}
	with := "Cookie: coldweek-notes=" + token
	for _, address := range []string{"/", "/plants/mill", "/plants/mill/trace.svg", "/plants/moor/notes", "/plants/mill/notes/%2e%2e/trace.svg", "/plants/mill%2Fnotes"} {
		answer, _ := d.visitor().get(address, with)
		assert.Equal(t, http.StatusSeeOther, answer.StatusCode, address)
		assert.Contains(t, answer.Header.Get("Location"), "/login", address)
	}
	answer, _ = d.visitor().send(http.MethodHead, "/plants/mill/notes", nil, with)
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode)
	answer, _ = d.visitor().send(http.MethodPost, "/plants/mill/notes", url.Values{"note": {"x"}}, with)
	assert.Equal(t, http.StatusForbidden, answer.StatusCode)
	answer, _ = d.visitor().send(http.MethodHead, "/link/"+token, nil)
	assert.Equal(t, http.StatusMethodNotAllowed, answer.StatusCode)
	answer, _ = d.visitor().get("/", "Cookie: coldweek="+token)
	assert.Equal(t, http.StatusSeeOther, answer.StatusCode, "it is no session")

	v.in("lee", leePassword)
	_, page := v.get("/plants/mill/notes")
	assert.Contains(t, page, `by "lee" may false link false`, "who is logged in is themselves")
	assert.NotContains(t, d.logged(), token)
	assert.NotContains(t, d.logged(), token[len(token)-20:])
	assert.Contains(t, d.logged(), `msg="link opened" site=mill`)
}

func TestClosedLinksAreToldKindly(t *testing.T) {
	d := newDoor(t, nil)
	token := mint(t, d.links, "mill")
	v := d.visitor()
	v.get("/link/" + token)
	require.True(t, v.sees("/plants/mill/notes"))
	check := func(v *visitor, address string, status int, want string) {
		t.Helper()
		answer, page := v.get(address)
		assert.Equal(t, status, answer.StatusCode)
		assert.Contains(t, page, want)
		assert.Contains(t, page, "Ask your heating engineer")
		assert.Equal(t, "no-store", answer.Header.Get("Cache-Control"))
		assert.Equal(t, "no-referrer", answer.Header.Get("Referrer-Policy"))
	}
	for _, wrong := range []string{token[:len(token)-3], "x", "a/b", token + "/", "%2e%2e", strings.Replace(token, "mill", "moor", 1)} {
		answer, page := d.visitor().get("/link/" + wrong)
		assert.Equal(t, http.StatusForbidden, answer.StatusCode, wrong)
		assert.Contains(t, page, "This link is not complete", wrong)
	}
	require.NoError(t, d.links.Withdraw("mill"))
	check(d.visitor(), "/link/"+token, http.StatusGone, "It was withdrawn")
	check(v, "/plants/mill/notes/2026-01", http.StatusGone, "It was withdrawn")
	token = mint(t, d.links, "mill")
	v.get("/link/" + token)
	require.True(t, v.sees("/plants/mill/notes"))
	d.later(90 * 24 * time.Hour)
	check(d.visitor(), "/link/"+token, http.StatusGone, "for a time, which is over")
	check(v, "/plants/mill/notes", http.StatusGone, "for a time, which is over")
	require.NoError(t, os.WriteFile(d.links.roundsPath, []byte("rounds: ["), 0o600))
	answer, page := d.visitor().get("/link/" + token)
	assert.Equal(t, http.StatusServiceUnavailable, answer.StatusCode)
	assert.NotContains(t, page, d.dir)
	assert.NotContains(t, d.logged(), token)
}

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

// TestLogInPageCanBeUsedByEverybody: labels, kinds of fields, and an error that is
// said aloud.
func TestLogInPageCanBeUsedByEverybody(t *testing.T) {
	d := newDoor(t, nil)
	_, plain := d.visitor().get("/login")
	_, wrong := d.visitor().send(http.MethodPost, "/login", url.Values{"name": {"ada"}, "password": {"x"}})
	for _, page := range []string{plain, wrong} {
		doc, err := html.Parse(strings.NewReader(page))
		require.NoError(t, err)
		labelled, ids, focus := map[string]bool{}, map[string]bool{}, 0
		for n := range doc.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			a := attributes(n)
			assert.False(t, ids[a["id"]] && a["id"] != "", "two of id %s", a["id"])
			ids[a["id"]] = true
			if n.Data == "label" {
				labelled[a["for"]] = true
			}
			if _, ok := a["autofocus"]; ok {
				focus++
			}
			if n.Data == "input" && a["type"] != "hidden" {
				assert.True(t, labelled[a["id"]], "%s has a label before it", a["id"])
				assert.NotEmpty(t, a["autocomplete"])
				if page == wrong {
					assert.Equal(t, "wrong", a["aria-describedby"])
				}
			}
		}
		assert.Equal(t, 1, focus)
		assert.True(t, ids["main"])
		assert.Equal(t, page == wrong, ids["wrong"])
	}
	assert.Contains(t, wrong, `role="alert"`)
	assert.Contains(t, wrong, "<title>Error: Log in")
	assert.NotContains(t, wrong, "value=\"x\"", "a password is not sent back")
}

func attributes(n *html.Node) map[string]string {
	all := map[string]string{}
	for _, a := range n.Attr {
		all[a.Key] = a.Val
	}
	return all
}
