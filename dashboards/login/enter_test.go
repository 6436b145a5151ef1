package login

import (
	"fmt"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

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
