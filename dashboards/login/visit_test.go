package login

import (
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

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
