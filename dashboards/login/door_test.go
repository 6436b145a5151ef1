package login

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
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
