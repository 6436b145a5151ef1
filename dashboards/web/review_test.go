package web

import (
	"bytes"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/analysis/job"
)

// pointsOf are the points of a page, by name.
func pointsOf(doc *html.Node) map[string]*html.Node {
	points := map[string]*html.Node{}
	for _, s := range all(doc, "section") {
		if strings.HasPrefix(attribute(s, "class"), "point ") {
			points[text(all(s, "h3")[0])] = s
		}
	}
	return points
}

func TestReviewPage(t *testing.T) {
	h := pages(t, nil)
	doc := document(t, h, "/plants/"+london+"/review", http.StatusOK)
	points := pointsOf(doc)
	require.Len(t, points, 13)
	assert.Contains(t, text(points["Heat loss"]), "not known yet", "the plant has three days")
	assert.Contains(t, text(points["Flow"]), "good")
	assert.Contains(t, text(points["Flow"]), "1080 commissioned")
	assert.Contains(t, text(doc), "whole days stored so far")
	assert.NotContains(t, text(doc), " -1", "minus signs are true ones")

	asked := document(t, h, "/plants/"+checked+"/review?from=2026-01-08&to=2026-01-14", http.StatusOK)
	assert.Contains(t, text(asked), "Thu 8 Jan to Wed 14 Jan 2026 , the days asked for")
	assert.Contains(t, text(pointsOf(asked)["Rooms in the coldest hours"]), "No room temperature is measured.")

	for _, id := range []string{barn, hostile, fallen} {
		assert.Len(t, pointsOf(document(t, h, "/plants/"+id+"/review", http.StatusOK)), 13, id)
	}
	document(t, h, "/plants/"+london+"/review?from=soon&to=2026-01-14", http.StatusBadRequest)
	document(t, h, "/plants/nobody/review", http.StatusNotFound)
}

// TestReviewIsMadeOnce: a review that was made is not made again.
func TestReviewIsMadeOnce(t *testing.T) {
	var scans *counting
	h := pages(t, func(o *Options) { scans = &counting{Store: o.Store}; o.Store = scans })
	address := "/plants/" + checked + "/review"
	first := get(h, address)
	require.Equal(t, http.StatusOK, first.Code)
	before := scans.scans
	require.Positive(t, before)
	assert.Equal(t, http.StatusOK, get(h, address).Code)
	assert.Equal(t, before, scans.scans)
}

// TestReviewInABrowser looks at the page in both widths and themes.
func TestReviewInABrowser(t *testing.T) {
	b := openBrowser(t)
	for _, address := range []string{"/plants/" + london + "/review", "/plants/" + hostile + "/review", "/plants/" + barn + "/review"} {
		for width, scheme := range map[int64]string{360: "dark", 390: "light", 1000: "dark", 1280: "light"} {
			b.visit(address, width, scheme)
			assert.LessOrEqual(t, ask[float64](b, overflow), 0.0, "%s at %d px is wider than its window", address, width)
			b.until("(" + smallest + ") >= 10")
			assert.GreaterOrEqual(t, ask[float64](b, faintest), 4.5, "%s at %d px, %s (WCAG 2.2, 1.4.3)", address, width, scheme)
		}
	}
	assert.Empty(t, b.complaints(), "the console")
}

// sheetsOf prints a page that stands alone, and counts the sheets.
func (b *browser) sheetsOf(page []byte) int {
	b.t.Helper()
	path := filepath.Join(b.t.TempDir(), "review.html")
	require.NoError(b.t, os.WriteFile(path, page, 0o600))
	b.do(chromedp.Navigate("file://" + path))
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(b.t, err)
	return len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1))
}

// TestReviewPrintsOnOneSheet prints the page that stands alone, for a plant of which
// all is known and for one of which nothing is.
func TestReviewPrintsOnOneSheet(t *testing.T) {
	b := openBrowser(t)
	w, err := theWorld()
	require.NoError(t, err)
	for _, record := range w.records {
		if record.ID != london && record.ID != barn {
			continue
		}
		window, chosen, err := job.ColdestWeek(t.Context(), w.store, record, clock, nil)
		require.NoError(t, err)
		r, err := job.Review(t.Context(), w.store, record, window, chosen, nil, nil)
		require.NoError(t, err)
		var page bytes.Buffer
		require.NoError(t, WriteReview(&page, r))
		assert.Equal(t, 1, b.sheetsOf(page.Bytes()), record.ID)
	}
}
