package web

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// maxPageBytes is the weight a page may have, unpacked.
const maxPageBytes = 200_000

// TestEveryLinkLeadsSomewhere walks from the list of plants over everything
// that is linked, and checks each page on the way.
func TestEveryLinkLeadsSomewhere(t *testing.T) {
	h := pages(t, nil)
	waiting := []string{"/"}
	seen := map[string]bool{"/": true}
	const enough = 100
	visited := 0
	for len(waiting) > 0 && visited < enough {
		address := waiting[0]
		waiting = waiting[1:]
		visited++
		w := get(h, address)
		require.Equal(t, http.StatusOK, w.Code, address)
		if !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			continue
		}
		assert.Less(t, w.Body.Len(), maxPageBytes, address)
		doc, err := html.Parse(w.Body)
		require.NoError(t, err)
		if w.Header().Get("Content-Security-Policy") == notePolicy {
			continue // a note is no page of ours
		}
		checkPage(t, address, doc)
		for _, next := range linked(t, address, doc) {
			if !seen[next] {
				seen[next] = true
				waiting = append(waiting, next)
			}
		}
	}
	for _, id := range []string{checked, london, fallen, hostile, barn} {
		assert.True(t, seen["/plants/"+id], "%s is linked", id)
	}
	assert.Equal(t, enough, visited, "the walk has no end, as one can always step a day on")
}

// linked returns the addresses a page refers to. None may lead to another
// host.
func linked(t *testing.T, address string, doc *html.Node) []string {
	t.Helper()
	base, err := url.Parse(address)
	require.NoError(t, err)
	var found []string
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		for _, a := range n.Attr {
			if a.Key != "href" && a.Key != "src" && a.Key != "action" && a.Key != "data-drawing" && a.Key != "data-address" {
				continue
			}
			to, err := base.Parse(a.Val)
			require.NoError(t, err, a.Val)
			assert.Empty(t, to.Host, "%s leads away from %s", a.Val, address)
			assert.Empty(t, to.Scheme, "%s leads away from %s", a.Val, address)
			if strings.HasPrefix(a.Val, "#") {
				assert.True(t, hasID(doc, a.Val[1:]), "%s has no %s", address, a.Val)
			}
			to.Fragment = ""
			found = append(found, to.String())
		}
	}
	return found
}

func hasID(doc *html.Node, id string) bool {
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && attribute(n, "id") == id {
			return true
		}
	}
	return false
}

// checkPage checks what holds for every page.
func checkPage(t *testing.T, address string, doc *html.Node) {
	t.Helper()
	ids := map[string]bool{}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		for _, a := range n.Attr {
			assert.NotEqual(t, "style", a.Key, "%s: inline style in <%s>", address, n.Data)
			assert.False(t, strings.HasPrefix(a.Key, "on"), "%s: inline script in <%s %s>", address, n.Data, a.Key)
			if a.Key == "id" {
				assert.False(t, ids[a.Val], "%s: id %q twice", address, a.Val)
				ids[a.Val] = true
			}
		}
	}
	assert.Empty(t, all(doc, "style"), address)
	assert.Empty(t, all(doc, "img"), "%s: the attack's picture", address)
	for _, s := range all(doc, "script") {
		assert.NotEmpty(t, attribute(s, "src"), "%s: inline script", address)
		assert.Empty(t, text(s), address)
	}
	assert.Equal(t, "en", attribute(all(doc, "html")[0], "lang"), address)
	assert.Len(t, all(doc, "h1"), 1, address)
	assert.Len(t, all(doc, "main"), 1, address)
	assert.NotEmpty(t, text(all(doc, "title")[0]), address)
	for _, input := range all(doc, "input") {
		labelled := attribute(input, "type") == "hidden" || input.Parent.Data == "label" || labelledBy(doc, attribute(input, "id"))
		assert.True(t, labelled, "%s: a field without a label", address)
	}
	for _, svg := range all(doc, "svg") {
		assert.Equal(t, "img", attribute(svg, "role"), address)
		for _, id := range strings.Fields(attribute(svg, "aria-labelledby")) {
			assert.True(t, ids[id], "%s: a drawing without words", address)
		}
	}
}

func labelledBy(doc *html.Node, id string) bool {
	for _, l := range all(doc, "label") {
		if id != "" && attribute(l, "for") == id {
			return true
		}
	}
	return false
}

// TestManyRooms: eight rooms that never rest, for two weeks, are still within
// the weight of a page.
func TestManyRooms(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(1, 2))
	var readings []ingest.Reading
	for room := range 8 {
		ch := ingest.NewChannel(ingest.RoomTemp, fmt.Sprintf("room-%d", room))
		for at := clock.AddDate(0, 0, -14); at.Before(clock); at = at.Add(time.Minute) {
			readings = append(readings, ingest.Reading{Site: "hotel", Channel: ch, Time: at, Value: 20 + random.NormFloat64()})
		}
	}
	_, err = w.store.Append(t.Context(), readings)
	require.NoError(t, err)
	record, err := site.Parse("hotel.yaml", []byte("id: hotel\ntime_zone: UTC\n"))
	require.NoError(t, err)
	h := pages(t, func(o *Options) { o.Sites = func() []*site.Record { return []*site.Record{record} } })
	for _, query := range []string{"?day=2026-01-10", "?from=2026-01-01&to=2026-01-15"} {
		page := get(h, "/plants/hotel"+query)
		require.Equal(t, http.StatusOK, page.Code)
		assert.Less(t, page.Body.Len(), maxPageBytes, query)
	}
}

// TestHostileRecord: whatever stands in a record is shown as text.
func TestHostileRecord(t *testing.T) {
	h := pages(t, nil)
	for _, address := range []string{"/", "/plants/" + hostile, "/plants/" + hostile + "?day=2026-01-14"} {
		doc := document(t, h, address, http.StatusOK)
		checkPage(t, address, doc)
		assert.Len(t, all(doc, "script"), 1, address)
		assert.Contains(t, text(doc), "alert(1)", "%s shows it", address)
	}
	for _, id := range []string{"%3Cscript%3E", "..%2f..%2fetc", "%00", strings.Repeat("x", 4000)} {
		w := get(h, "/plants/"+id)
		assert.Equal(t, http.StatusNotFound, w.Code, id)
		assert.NotContains(t, w.Body.String(), "<script>", id)
	}
}
