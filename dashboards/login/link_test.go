package login

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	noon   = time.Date(2026, 1, 14, 12, 0, 0, 0, time.UTC)
	public = &url.URL{Scheme: "https", Host: "pages.firm.example"}
)

// mint returns the token of a new link that holds for 90 days from noon.
func mint(t testing.TB, l *Links, site string) string {
	t.Helper()
	address, err := l.New(public, site, noon, noon.AddDate(0, 0, 90))
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(address, "https://pages.firm.example/link/"), address)
	return path.Base(address)
}

func TestLinkHoldsUntilItIsOverOrWithdrawn(t *testing.T) {
	l := NewLinks(t.TempDir())
	_, err := l.check("mill-cottage.1776168000.0."+strings.Repeat("A", 43), noon)
	assert.ErrorIs(t, err, errLinkWithdrawn, "there is no key yet")
	token, other := mint(t, l, "mill-cottage"), mint(t, l, "moor-farm")
	p, err := l.check(token, noon)
	require.NoError(t, err)
	assert.Equal(t, "mill-cottage", p.site)
	_, err = l.check(token, noon.AddDate(0, 0, 90).Add(-time.Second))
	assert.NoError(t, err)
	_, err = l.check(token, noon.AddDate(0, 0, 90))
	assert.ErrorIs(t, err, errLinkOver)

	require.NoError(t, l.Withdraw("mill-cottage"))
	_, err = l.check(token, noon)
	assert.ErrorIs(t, err, errLinkWithdrawn)
	_, err = l.check(other, noon)
	assert.NoError(t, err, "another plant's link stays")
	_, err = l.check(mint(t, l, "mill-cottage"), noon)
	assert.NoError(t, err, "a new one holds")

	for _, file := range []string{l.keyPath, l.roundsPath} {
		info, err := os.Stat(file)
		require.NoError(t, err)
		assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), file)
	}
	require.NoError(t, os.WriteFile(l.roundsPath, []byte("rounds: ["), 0o600))
	_, err = l.check(other, noon)
	assert.ErrorContains(t, err, l.roundsPath, "what cannot be read lets nobody in")
	require.NoError(t, os.Remove(l.roundsPath))
	require.NoError(t, os.Chmod(l.keyPath, 0o644))
	_, err = l.check(other, noon)
	assert.ErrorContains(t, err, "make new ones")
	require.NoError(t, os.Remove(l.keyPath))
	_, err = l.check(other, noon)
	assert.ErrorIs(t, err, errLinkWithdrawn)
	mint(t, l, "moor-farm")
	_, err = l.check(other, noon)
	assert.ErrorIs(t, err, errLinkWrong, "another key")
}

// TestLinkChangedAnywhereIsRefused changes each character, cuts and adds.
func TestLinkChangedAnywhereIsRefused(t *testing.T) {
	l := NewLinks(t.TempDir())
	token := mint(t, l, "mill-cottage")
	refused := func(text string) {
		t.Helper()
		_, err := l.check(text, noon)
		assert.ErrorIs(t, err, errLinkWrong, text)
	}
	for i := range token {
		for _, c := range "aZ09-_.%/" {
			if changed := token[:i] + string(c) + token[i+1:]; changed != token {
				refused(changed)
			}
		}
		refused(token[:i])
		refused(token[i+1:])
	}
	refused(token + "A")
	refused(token + "\n")
	refused(" " + token)
	refused(strings.Replace(token, "mill-cottage", "moor-farm", 1))
	refused(strings.Replace(token, ".0.", ".00.", 1))
	refused(strings.Replace(token, ".0.", ".1.", 1))
}

// TestLinkIsSignedAsDocumented computes a link's signature by hand: Python's
// hmac.new(bytes(range(32)), b"coldweek notes link 1\nmill-cottage.1776168000.0", "sha256").
func TestLinkIsSignedAsDocumented(t *testing.T) {
	l := NewLinks(t.TempDir())
	key := make([]byte, 32)
	for i := range key {
		key[i] = byte(i)
	}
	require.NoError(t, os.WriteFile(l.keyPath, key, 0o600))
	assert.Equal(t, "mill-cottage.1776168000.0.jBPSTOmw1qpp99oMRDT1GG4L9qyg-Ea2ynBpkIivDAo", mint(t, l, "mill-cottage"))
}

func TestLinkErrors(t *testing.T) {
	l := NewLinks(t.TempDir())
	check := func(site string, until time.Time, want string) {
		t.Helper()
		_, err := l.New(public, site, noon, until)
		assert.ErrorContains(t, err, want)
	}
	check("Mill", noon.AddDate(0, 0, 1), "no site id")
	check("../x", noon.AddDate(0, 0, 1), "no site id")
	check("mill", noon, "over already")
	check("mill", noon.AddDate(2, 0, 0), "at most 400 days")
	assert.ErrorContains(t, l.Withdraw("a.b"), "no site id")
	require.NoError(t, os.WriteFile(l.keyPath, []byte("short"), 0o600))
	check("mill", noon.AddDate(0, 0, 1), "has 5 bytes and not 32")
}

// TestWhatALinkOpens is the whole of it.
func TestWhatALinkOpens(t *testing.T) {
	for _, open := range []string{
		"/plants/mill-cottage/notes",
		"/plants/mill-cottage/notes/",
		"/plants/mill-cottage/notes?year=2026",
		"/plants/mill-cottage/notes/2026-01",
		"/plants/mill-cottage/notes/2026-01.pdf",
		"/plants/mill-cottage/notes/2026-01/heat.svg",
	} {
		u, err := url.ParseRequestURI(open)
		require.NoError(t, err)
		assert.True(t, opensByLink(http.MethodGet, u, "mill-cottage"), open)
		assert.False(t, opensByLink(http.MethodGet, u, "moor-farm"), open)
		assert.False(t, opensByLink(http.MethodGet, u, "mill"), open)
		assert.False(t, opensByLink(http.MethodGet, u, ""), open)
		for _, method := range []string{"HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "get", "Get", ""} {
			assert.False(t, opensByLink(method, u, "mill-cottage"), method+" "+open)
		}
	}
	for _, shut := range []string{
		"/", "/login", "/metrics", "/static/coldweek.css", "/plants", "/plants/", "/plants/mill-cottage", "/plants/mill-cottage/",
		"/plants/mill-cottage/trace.svg", "/plants/mill-cottage/notesx", "/plants/mill-cottage/notes.pdf", "/plants/mill-cottage/note",
		"/plants/mill-cottage2/notes", "/plants/moor-farm/notes", "/plants//notes", "//plants/mill-cottage/notes",
		// letters
		"/Plants/mill-cottage/notes", "/plants/Mill-Cottage/notes", "/plants/mill-cottage/Notes", "/plants/mill-cottage/NOTES/2026-01",
		// dots
		"/notes", "/plants/mill-cottage/drafts/2026-01", "/plants/mill-cottage/drafts/2026-01/note.html",
		"/plants/mill-cottage/notes/..", "/plants/mill-cottage/notes/../", "/plants/mill-cottage/notes/../trace.svg",
		"/plants/mill-cottage/notes/../../moor-farm/notes", "/plants/moor-farm/../mill-cottage/notes", "/plants/mill-cottage/./notes",
		"/plants/mill-cottage/notes/.", "/plants/mill-cottage/notes/./2026-01", "/plants/mill-cottage/notes/...", "/plants/mill-cottage/notes/.git",
		"/plants/mill-cottage/notes/2026-01.", "/plants/mill-cottage/notes/a..b",
		// escapes
		"/plants/mill-cottage%2Fnotes", "/plants/mill-cottage%2fnotes", "/plants%2Fmill-cottage/notes", "/plants/mill-cottage/notes%2F..",
		"/plants/mill-cottage/notes/%2e%2e/trace.svg", "/plants/mill-cottage/notes/%2E%2E%2Ftrace.svg", "/plants/mill-cottage/notes/..%2Ftrace.svg",
		"/plants/mill-cottage/notes/..%5Ctrace.svg", "/plants/mill-cottage/n%6Ftes", "/plants/%6Dill-cottage/notes", "/plants/mill-cottage/notes/%32026-01",
		"/plants/mill-cottage/notes/%252e%252e/trace.svg", "/plants/mill-cottage/notes/a%00b", "/plants/mill-cottage/notes%3Fx", "/plants/mill-cottage/notes/%0a",
		// what stands between
		"/plants/mill-cottage/notes//", "/plants/mill-cottage/notes//2026-01", "/plants/mill-cottage/notes/2026-01//", "/plants/mill-cottage/notes;x=1",
		"/plants/mill-cottage/notes/a;x", "/plants/mill-cottage/notes/a\\b", "/plants/mill-cottage/notes/a:b", "/plants/mill-cottage/notes/ä",
		"/plants/mill-cottage/notes/a b", "/plants/mill-cottage/notes/a+b", "/plants/mill-cottage/notes/~x", "/plants/mill-cottage/notes/\t",
	} {
		u, err := url.ParseRequestURI(shut)
		if err != nil {
			u = &url.URL{Path: shut}
		}
		assert.False(t, opensByLink(http.MethodGet, u, "mill-cottage"), shut)
	}
}

// FuzzParsePass: what is taken has one spelling, and is not signed by chance.
func FuzzParsePass(f *testing.F) {
	key := []byte("0123456789abcdef0123456789abcdef")
	f.Add(pass{"mill-cottage", 1776168000, 0}.sign(key))
	f.Add(pass{"m", 1, 999999999}.sign(key))
	f.Add("mill-cottage.1776168000.0." + strings.Repeat("A", 43))
	f.Add("mill-cottage.1776168000.0." + strings.Repeat("_", 43))
	f.Add("...")
	f.Fuzz(func(t *testing.T, text string) {
		p, signature, err := parsePass(text)
		if err != nil {
			assert.True(t, errors.Is(err, errLinkWrong))
			return
		}
		assert.Equal(t, text, fmt.Sprintf("%s.%s", p.words(), base64.RawURLEncoding.EncodeToString(signature)))
		assert.True(t, siteAlone.MatchString(p.site))
		assert.Positive(t, p.until)
	})
}

// FuzzWhatALinkOpens: however it is written, an address that is open leads below
// the plant's notes.
func FuzzWhatALinkOpens(f *testing.F) {
	for _, address := range []string{"/plants/mill/notes", "/plants/mill/notes/../x", "/plants/mill/notes/%2e%2e", "/plants/mill%2fnotes"} {
		f.Add(address)
	}
	f.Fuzz(func(t *testing.T, address string) {
		u, err := url.ParseRequestURI(address)
		if err != nil || !opensByLink(http.MethodGet, u, "mill") {
			return
		}
		clean := path.Clean(u.Path)
		assert.True(t, clean == "/plants/mill/notes" || strings.HasPrefix(clean, "/plants/mill/notes/"), address)
		assert.Equal(t, clean, strings.TrimSuffix(u.Path, "/"), address)
	})
}
