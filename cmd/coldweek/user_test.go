package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

const adaPassword = "seven frosty mornings"

// typed runs a command line with something on standard input.
func typed(t *testing.T, input string, args ...string) (out, errOut string, code int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code = run(context.Background(), args, streams{strings.NewReader(input), &stdout, &stderr})
	return stdout.String(), stderr.String(), code
}

func TestUsersByCommandLine(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	assert.Contains(t, must(t, "user", "list", "--home", dir), "there are no users")
	assert.Equal(t, "[]\n", must(t, "user", "list", "--json", "--home", dir))
	file := filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(file, []byte("a kettle on the hob\r\nand more\n"), 0o600))
	assert.Equal(t, "lee may log in as viewer\n", must(t, "user", "add", "lee", "--role", "viewer", "--password-file", file, "--home", dir))
	out, errOut, code := typed(t, adaPassword+"\n", "user", "add", "ada", "--role", "engineer", "--email", "ada@firm.example", "--home", dir)
	require.Zero(t, code, errOut)
	assert.Equal(t, "ada may log in as engineer\n", out)

	var users []userJSON
	require.NoError(t, json.Unmarshal([]byte(must(t, "user", "list", "--json", "--home", dir)), &users))
	assert.Equal(t, []userJSON{{"lee", "viewer", ""}, {"ada", "engineer", "ada@firm.example"}}, users)
	assert.Contains(t, must(t, "user", "list", "--home", dir), "ada   engineer  ada@firm.example")
	before, err := os.ReadFile(home{dir}.usersPath())
	require.NoError(t, err)
	_, errOut, code = typed(t, "another password", "user", "password", "ada", "--home", dir)
	require.Zero(t, code, errOut)
	after, err := os.ReadFile(home{dir}.usersPath())
	require.NoError(t, err)
	assert.NotEqual(t, before, after)

	check := func(want, input string, args ...string) {
		t.Helper()
		out, errOut, code := typed(t, input, append(args, "--home", dir)...)
		assert.Equal(t, exitUsage, code, args)
		assert.Contains(t, errOut, want, args)
		assert.Empty(t, out)
	}
	check("--role is missing", adaPassword, "user", "add", "kim")
	check("write engineer or viewer", adaPassword, "user", "add", "kim", "--role", "owner")
	check("use at least 12", "short\n", "user", "add", "kim", "--role", "viewer")
	check("standard input: the first line is empty", "", "user", "add", "kim", "--role", "viewer")
	check("exists already", adaPassword, "user", "add", "ada", "--role", "viewer")
	check("no such file", "", "user", "add", "kim", "--role", "viewer", "--password-file", file+"x")
	check(`no user "kim"; there are: lee, ada`, adaPassword, "user", "password", "kim")
	check(`no user "kim"`, "", "user", "remove", "kim")
	check("unknown flag", "", "user", "add", "kim", "--role", "viewer", "--password", adaPassword)
	check(`did you mean "remove"?`, "", "user", "remov", "ada")

	assert.Equal(t, "lee may log in no more\n", must(t, "user", "remove", "lee", "--home", dir))
	assert.Contains(t, must(t, "user", "remove", "ada", "--home", dir), "no users are left")
	require.NoError(t, os.WriteFile(home{dir}.usersPath(), []byte("users: ["), 0o600))
	check("users.yaml", "", "user", "list")
}

func TestLinkByCommandLine(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	out, errOut, code := coldweek(t, "link", "mill-cottage", "--url", "https://pages.firm.example", "--home", dir)
	require.Zero(t, code, errOut)
	link := regexp.MustCompile(`^https://pages\.firm\.example/link/mill-cottage\.([0-9]+)\.0\.[A-Za-z0-9_-]{43}\n$`).FindStringSubmatch(out)
	require.NotNil(t, link, out)
	until, err := strconv.ParseInt(link[1], 10, 64)
	require.NoError(t, err)
	assert.InDelta(t, 90*24, time.Until(time.Unix(until, 0)).Hours(), 2, "90 days, an hour more or less where clocks are put forward or back")
	assert.Contains(t, errOut, "It opens the notes of mill-cottage until "+time.Unix(until, 0).Format("2 January 2006"))
	out, errOut, code = coldweek(t, "link", "mill-cottage", "--home", dir)
	require.Zero(t, code, errOut)
	assert.Contains(t, out, "http://127.0.0.1:8137/link/")
	assert.Contains(t, errOut, "this machine only")
	assert.Contains(t, must(t, "link", "--revoke", "mill-cottage", "--home", dir), "are ended")
	assert.Contains(t, must(t, "link", "mill-cottage", "--home", dir), ".1.")

	notify := "broker: {}\nnotify:\n  pages_url: https://coldweek.example\n  smtp: {host: mail.firm.example, from: 'coldweek <watch@firm.example>'}\n" +
		"  engineers: [{name: Ada, email: ada@firm.example, time_zone: Europe/London}]\n"
	require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte(notify), 0o600))
	assert.Contains(t, must(t, "link", "mill-cottage", "--home", dir), "https://coldweek.example/link/")

	check := func(want string, args ...string) {
		t.Helper()
		_, errOut, code := coldweek(t, append(args, "--home", dir)...)
		assert.Equal(t, exitUsage, code, args)
		assert.Contains(t, errOut, want, args)
	}
	check(`did you mean "mill-cottage"?`, "link", "mill-cotage")
	check("at least 1 day", "link", "mill-cottage", "--days", "0")
	check("at most 400 days", "link", "mill-cottage", "--days", "401")
	check("no address of a web server", "link", "mill-cottage", "--url", "pages.example")
	check("no site id", "link", "--revoke", "Mill")
}

// TestPagesBeyondThisMachineNeedUsers: without any it does not start, and says
// what to do. The address is one that nobody else can reach either.
func TestPagesBeyondThisMachineNeedUsers(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	for _, web := range []string{
		"{listen: '0.0.0.0:0'}", "{listen: ':0'}", "{listen: '[::]:0'}", "{listen: '192.0.2.1:0'}", "{listen: '127.0.0.1:0', trusted_proxies: [127.0.0.1]}",
	} {
		require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte("broker: {listen: '127.0.0.1:0'}\nweb: "+web+"\n"), 0o600))
		out, errOut, code := coldweek(t, "serve", "--home", dir)
		assert.Equal(t, exitUsage, code, web)
		assert.Contains(t, errOut, "there are no users: anybody could see and change everything")
		assert.Contains(t, errOut, "coldweek user add NAME --role engineer --home "+dir)
		assert.Contains(t, errOut, "open_without_users: true")
		assert.Empty(t, out)
	}
	require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte("broker: {}\nweb: {trusted_proxies: [proxy]}\n"), 0o600))
	_, errOut, code := coldweek(t, "serve", "--home", dir)
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errOut, `web: trusted_proxies: "proxy" is no address`)

	for listen, want := range map[string]bool{
		"127.0.0.1:8137": true, "[::1]:8137": true, "localhost:8137": true, "127.9.9.9:1": true, "0.0.0.0:8137": false, ":8137": false, "[::]:1": false,
		"192.168.1.2:1": false, "pages.example:1": false, "localhost.example:1": false, "": false,
	} {
		assert.Equal(t, want, loopbackOnly(listen), listen)
	}
}

// serving runs serve on a home and returns where its pages are.
func serving(t *testing.T, dir string) (base string) {
	t.Helper()
	port := programtest.FreePort(t)
	text := fmt.Sprintf("broker: {listen: '127.0.0.1:0'}\nweb: {listen: '127.0.0.1:%d'}\n", port)
	require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte(text), 0o600))
	stop := startServe(t, dir)
	t.Cleanup(func() { assert.Zero(t, stop()) })
	base = fmt.Sprintf("http://127.0.0.1:%d", port)
	require.Eventually(t, func() bool {
		_, _, code := coldweek(t, "health", "--home", dir)
		return code == 0
	}, time.Minute, 20*time.Millisecond)
	return base
}

// TestLogInToTheRealPages: open without users, closed with the first, a log-in, a
// homeowner's link.
func TestLogInToTheRealPages(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	base := serving(t, dir)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	browser := &http.Client{Jar: jar}
	ask := func(address string) (status int, at, page string) {
		t.Helper()
		answer, err := browser.Get(base + address)
		require.NoError(t, err)
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return answer.StatusCode, answer.Request.URL.RequestURI(), string(text)
	}
	_, at, page := ask("/")
	assert.Equal(t, "/", at, "open while there are no users")
	assert.Contains(t, page, "mill-cottage")

	_, errOut, code := typed(t, adaPassword+"\n", "user", "add", "ada", "--role", "engineer", "--home", dir)
	require.Zero(t, code, errOut)
	_, at, page = ask("/plants/mill-cottage")
	assert.Equal(t, "/login?next=%2Fplants%2Fmill-cottage", at)
	assert.NotContains(t, page, "mill-cottage</")
	for _, link := range regexp.MustCompile(`(?:href|src)="(/[^"]+)"`).FindAllStringSubmatch(page, -1) {
		status, at, _ := ask(link[1])
		assert.Equal(t, http.StatusOK, status, link[1])
		assert.Equal(t, link[1], at, "the log-in page has what it is made of")
	}
	status, _, _ := ask("/metrics")
	assert.Equal(t, http.StatusOK, status, "machines near by still get their numbers")
	must(t, "health", "--home", dir)

	link := strings.TrimSpace(must(t, "link", "mill-cottage", "--url", base, "--home", dir))
	_, at, _ = ask(strings.TrimPrefix(link, base))
	assert.Equal(t, "/plants/mill-cottage/notes", at, "the homeowner is past the log-in")
	_, at, _ = ask("/plants/mill-cottage")
	assert.Contains(t, at, "/login", "and sees nothing else")
	must(t, "link", "--revoke", "mill-cottage", "--home", dir)
	status, _, page = ask("/plants/mill-cottage/notes")
	assert.Equal(t, http.StatusGone, status)
	assert.Contains(t, page, "It was withdrawn")

	answer, err := browser.PostForm(base+"/login", url.Values{"name": {"ada"}, "password": {adaPassword}, "next": {"/plants/mill-cottage"}})
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, "/plants/mill-cottage", answer.Request.URL.Path)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	assert.Equal(t, "private, no-cache", answer.Header.Get("Cache-Control"))

	_, _, page = ask("/plants/mill-cottage")
	token := regexp.MustCompile(`action="/logout">.*name="form_token" value="([A-Za-z0-9_-]{43})"`).FindStringSubmatch(page)
	require.NotNil(t, token, "a form to log out")
	answer, err = browser.PostForm(base+"/logout", url.Values{"form_token": {token[1]}})
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, "/login", answer.Request.URL.Path)
	_, at, _ = ask("/")
	assert.Contains(t, at, "/login")
}
