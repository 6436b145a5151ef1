package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// ward is a deployment of three plants without readings but with findings, in a
// store of its own.
type ward struct {
	store *local.Store
	h     http.Handler
	now   time.Time
}

func newWard(t *testing.T, change func(*Options)) *ward {
	t.Helper()
	w := &ward{now: clock}
	var err error
	w.store, err = local.Open(t.Context(), filepath.Join(t.TempDir(), "store.db"), local.Options{Now: func() time.Time { return w.now }})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, w.store.Close()) })
	var records []*site.Record
	for _, text := range []string{"id: ash\nname: Ash\ntime_zone: UTC\n", "id: beech\nname: Beech\ntime_zone: UTC\n", "id: cedar\nname: Cedar\ntime_zone: UTC\n"} {
		r, err := site.Parse("r.yaml", []byte(text))
		require.NoError(t, err)
		records = append(records, r)
	}
	w.h = pages(t, func(o *Options) {
		o.Store, o.Sites, o.Loopback, o.Now = w.store, func() []*site.Record { return records }, true, func() time.Time { return w.now }
		if change != nil {
			change(o)
		}
	})
	return w
}

func (w *ward) notice(t *testing.T, id, kind string, severity watch.Severity, hoursAgo, hours float64) string {
	t.Helper()
	f := watch.Finding{
		Kind: kind, Severity: severity, Since: w.now.Add(-time.Duration(hoursAgo * float64(time.Hour))), AsOf: w.now, Title: kind + " of " + id,
		Evidence: []watch.Figure{{Name: "flow_rate_lph", Value: 512.4, Unit: "l/h"}}, Causes: []string{"a blocked strainer"}, Next: []string{"clean the strainer"},
		Caution: "hot water under pressure", Basis: "the maker's minimum",
	}
	if hours > 0 {
		f.Until = f.Since.Add(time.Duration(hours * float64(time.Hour)))
	}
	kept, err := job.StoreFinding(id, &f)
	require.NoError(t, err)
	require.NoError(t, w.store.PutFindings(t.Context(), []store.Finding{kept}))
	return findingAddress(id, &f)
}

// listed returns the addresses of the findings that the lines of a page lead to.
func listed(doc *html.Node) []string {
	var found []string
	for _, row := range all(doc, "tr") {
		for _, a := range all(row, "a") {
			if href := attribute(a, "href"); strings.Contains(href, "@") {
				found = append(found, href)
			}
		}
	}
	return found
}

func TestInbox(t *testing.T) {
	w := newWard(t, nil)
	urgent := w.notice(t, "beech", "frost_danger", watch.Urgent, 5, 0)
	newer := w.notice(t, "ash", "low_flow", watch.Attention, 2, 0)
	older := w.notice(t, "cedar", "room_cold/attic", watch.Attention, 30, 0)
	ended := w.notice(t, "ash", "short_cycling", watch.Attention, 50, 10)
	info := w.notice(t, "ash", "pump_idle", watch.Info, 1, 0)
	require.NoError(t, w.store.AddAction(t.Context(), store.Action{Site: "cedar", Kind: "room_cold/attic", At: w.now.Add(-time.Hour), Deed: store.Acknowledge, By: "Ada", Note: "not heated until March"}))
	require.NoError(t, w.store.AddAction(t.Context(), store.Action{Site: "ash", Kind: "pump_idle", At: w.now.Add(-time.Minute), Deed: store.Mute, By: "Ada"}))

	for query, want := range map[string][]string{
		"":                           {urgent, newer, older},
		"?state=new":                 {urgent, newer},
		"?state=seen":                {older},
		"?state=muted":               {info},
		"?state=ended":               {ended},
		"?state=all":                 {urgent, newer, older, info, ended},
		"?severity=urgent":           {urgent},
		"?site=ash":                  {newer},
		"?kind=room_cold":            {older},
		"?site=ash&state=all":        {newer, info, ended},
		"?site=ash&severity=urgent":  nil,
		"?state=ended&kind=low_flow": nil,
		"?site=nobody&state=all":     nil,
		"?kind=%3Cscript%3Ealert(1)": nil,
	} {
		doc := document(t, w.h, "/findings"+query, http.StatusOK)
		checkPage(t, query, doc)
		assert.Equal(t, want, listed(doc), query)
	}
	assert.Contains(t, text(document(t, w.h, "/findings?state=seen", http.StatusOK)), "Acknowledged by Ada (not heated until March)")
	for _, query := range []string{"?state=lost", "?severity=worst", "?sheet=0", "?sheet=x"} {
		document(t, w.h, "/findings"+query, http.StatusBadRequest)
	}
	document(t, w.h, "/findings?sheet=2", http.StatusNotFound)
}

// TestTwoClicksTellWhy: the list of plants leads to the finding, which says what to do.
func TestTwoClicksTellWhy(t *testing.T) {
	w := newWard(t, nil)
	address := w.notice(t, "cedar", "room_cold/attic", watch.Urgent, 5, 0)
	w.notice(t, "ash", "low_flow", watch.Attention, 2, 0)
	order, lines := linesOfFindings(document(t, w.h, "/", http.StatusOK))
	assert.Equal(t, []string{"cedar", "ash", "beech"}, order, "the urgent first")
	assert.Contains(t, lines["cedar"], address)
	doc := document(t, w.h, address, http.StatusOK)
	checkPage(t, address, doc)
	said := text(doc)
	for _, want := range []string{"room_cold/attic of cedar", "Since Thu 15 Jan 2026, 05:00, for 5 h", "Flow rate 512 l/h", "A blocked strainer.", "Clean the strainer.", "Caution. Hot water under pressure.", "The maker's minimum."} {
		assert.Contains(t, said, want)
	}
}

// linesOfFindings returns the plants of the list in order, and the findings each
// leads to.
func linesOfFindings(doc *html.Node) (order []string, found map[string][]string) {
	found = map[string][]string{}
	for _, row := range all(doc, "tr") {
		if id := attribute(row, "data-plant"); id != "" {
			order = append(order, id)
			for _, a := range all(row, "a") {
				if href := attribute(a, "href"); strings.Contains(href, "@") {
					found[id] = append(found[id], href)
				}
			}
		}
	}
	return order, found
}

func TestActing(t *testing.T) {
	w := newWard(t, func(o *Options) { o.FormToken = func(*http.Request) string { return "t0ken" } })
	address := w.notice(t, "ash", "room_cold/attic", watch.Attention, 5, 0)
	r := httptest.NewRequest(http.MethodGet, "http://localhost"+address, nil)
	page := httptest.NewRecorder()
	w.h.ServeHTTP(page, r)
	assert.Contains(t, page.Body.String(), `<input type="hidden" name="form_token" value="t0ken">`)

	act := func(fields url.Values) *httptest.ResponseRecorder { return post(w.h, address, fields) }
	answer := act(url.Values{"deed": {"acknowledge"}, "note": {"  strainer \n on Friday "}, "by": {"Ada"}})
	require.Equal(t, http.StatusSeeOther, answer.Code, answer.Body)
	assert.Equal(t, address+"?done=acknowledge", answer.Header().Get("Location"))
	assert.Contains(t, text(document(t, w.h, address+"?done=acknowledge", http.StatusOK)), "Nobody is told of it again")
	w.now = w.now.Add(time.Minute)
	require.Equal(t, http.StatusSeeOther, act(url.Values{"deed": {"mute"}, "days": {"7"}}).Code)
	w.now = w.now.Add(time.Minute)
	require.Equal(t, http.StatusSeeOther, act(url.Values{"deed": {"unmute"}}).Code)
	w.now = w.now.Add(time.Minute)
	require.Equal(t, http.StatusSeeOther, act(url.Values{"deed": {"remark"}, "note": {"seen on site"}}).Code)

	actions, err := w.store.Actions(context.Background(), "ash")
	require.NoError(t, err)
	require.Len(t, actions, 4)
	assert.Equal(t, store.Action{Site: "ash", Kind: "room_cold/attic", At: clock, Deed: store.Acknowledge, By: "Ada", Note: "strainer on Friday"}, actions[0])
	assert.Equal(t, clock.Add(time.Minute).AddDate(0, 0, 7), actions[1].Until.UTC())
	assert.Equal(t, "seen on site", actions[3].Note)
	said := text(document(t, w.h, address, http.StatusOK))
	assert.Contains(t, said, "Muted until 22 Jan 2026, 10:01")
	assert.Contains(t, said, "Remark seen on site")
}

func TestActingIsRefused(t *testing.T) {
	w := newWard(t, nil)
	address := w.notice(t, "ash", "low_flow", watch.Attention, 5, 0)
	for _, c := range []struct {
		fields url.Values
		want   string
	}{
		{url.Values{"deed": {"remark"}}, "A remark needs its text"},
		{url.Values{"deed": {"mute"}, "note": {"kept draft"}}, "for how long"},
		{url.Values{"deed": {"mute"}, "days": {"-3"}}, "for how long"},
		{url.Values{"deed": {"delete"}, "note": {"kept draft"}}, "Say what is to be done"},
	} {
		answer := post(w.h, address, c.fields)
		assert.Equal(t, http.StatusUnprocessableEntity, answer.Code)
		assert.Contains(t, answer.Body.String(), c.want)
		assert.Contains(t, answer.Body.String(), c.fields.Get("note"), "the note is not lost")
	}
	fine := url.Values{"deed": {"acknowledge"}}
	assert.Equal(t, http.StatusForbidden, post(w.h, address, fine, func(r *http.Request) {
		r.Header.Set("Sec-Fetch-Site", "cross-site")
		r.Header.Set("Origin", "https://elsewhere.example")
	}).Code, "a form on another site")
	assert.Equal(t, http.StatusForbidden, post(w.h, address, fine, func(r *http.Request) { r.Host = "rebound.example" }).Code, "a name that was made to lead here")
	assert.Equal(t, http.StatusRequestEntityTooLarge/100, post(w.h, address, url.Values{"note": {string(make([]byte, maxForm))}}).Code/100)
	assert.Equal(t, http.StatusMethodNotAllowed, post(w.h, "/findings", fine).Code)
	assert.Equal(t, http.StatusNotFound, post(w.h, "/plants/ash/findings/low_flow@2026-01-01T00:00:00Z", fine).Code)

	beyond := newWard(t, func(o *Options) { o.Loopback = false })
	address = beyond.notice(t, "ash", "low_flow", watch.Attention, 5, 0)
	assert.Equal(t, http.StatusForbidden, post(beyond.h, address, fine).Code, "no accounts, and others can reach it")
	assert.Empty(t, all(document(t, beyond.h, address, http.StatusOK), "button"), "and no form is offered")

	viewer := newWard(t, func(o *Options) { o.Who = func(*http.Request) (string, bool) { return "Vera", false } })
	address = viewer.notice(t, "ash", "low_flow", watch.Attention, 5, 0)
	assert.Equal(t, http.StatusForbidden, post(viewer.h, address, fine).Code)

	for _, each := range []*ward{w, beyond, viewer} {
		actions, err := each.store.Actions(context.Background(), "ash")
		require.NoError(t, err)
		assert.Empty(t, actions)
	}
}

// TestWhoActed: the account's name counts, whatever the form says.
func TestWhoActed(t *testing.T) {
	w := newWard(t, func(o *Options) { o.Who = func(*http.Request) (string, bool) { return "Ada", true } })
	address := w.notice(t, "ash", "low_flow", watch.Attention, 5, 0)
	require.Equal(t, http.StatusSeeOther, post(w.h, address, url.Values{"deed": {"acknowledge"}, "by": {"Mallory"}}).Code)
	actions, err := w.store.Actions(context.Background(), "ash")
	require.NoError(t, err)
	assert.Equal(t, "Ada", actions[0].By)
}
