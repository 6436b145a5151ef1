package notify_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// pictures is where the letters' pictures are written, for looking at.
const pictures = "COLDWEEK_TEST_PICTURES"

// letters makes one of each kind.
func letters(t *testing.T) map[string]string {
	t.Helper()
	html := map[string]string{}
	d := open(t, ada())
	d.put(lowFlow(d.now.Add(-20 * time.Minute)))
	d.step()
	html["urgent"] = d.html(0)
	d.put(ended(lowFlow(d.now.Add(-20*time.Minute)), d.now))
	cold := curveHigh(d.now.Add(-3 * time.Hour))
	cold.Kind, cold.Title = "room_cold/kitchen", "Kitchen 2.1 K below its set temperature for 9 hours"
	cold.Evidence = []string{"kitchen: 17.9 °C, set to 20 °C", "flow to the kitchen loop: 31 °C"}
	cold.Next = []string{"balance the kitchen loop"}
	short := curveHigh(d.now.Add(-30 * time.Hour))
	short.Kind, short.Title = "short_cycling", "9 starts an hour, median run 4 minutes"
	silent := at("st-georgen", "Pfarrhof St. Georgen-am-Längsee-und-Umgebung <b>", curveHigh(d.now.Add(-50*time.Hour)))
	silent.Kind, silent.Title = "silent", "No reading for 50 hours"
	silent.Evidence, silent.Next = []string{"newest reading: Mon 12 Jan, 08:00"}, []string{"see whether the gateway has power and network"}
	d.put(curveHigh(d.now), cold, short, ended(short, d.now), silent)
	d.until(d.now.Add(24 * time.Hour))
	html["ended"], html["digest"] = d.html(1), d.html(2)
	for i := range 8 {
		d.put(at(fmt.Sprint("house-", i), fmt.Sprint("Alder House ", i), lowFlow(d.now)))
	}
	d.until(d.now.Add(20 * time.Minute))
	html["several"] = d.html(9)
	require.Empty(t, d.Test(t.Context(), "")[0].Err)
	html["test"] = d.html(10)
	return html
}

func TestLettersFetchNothing(t *testing.T) {
	for name, html := range letters(t) {
		for _, fetching := range []string{"src=", "url(", "<link", "<script", "<img", "@import", "srcset", "background="} {
			assert.NotContains(t, html, fetching, name)
		}
		assert.NotContains(t, html, "<b>", "what others wrote is text")
		assert.NotContains(t, html, "ZgotmplZ")
	}
}

// TestLettersFitAPhone looks at them in a real browser, 390 pixels wide, and as wide
// as the pane of a mail program.
func TestLettersFitAPhone(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes some seconds to start")
	}
	path := programtest.Find(t, "chromium", "chromium")
	html := letters(t)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprint(w, html[r.URL.Path[1:]])
	}))
	defer server.Close()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("hide-scrollbars", true))
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	for name := range html {
		for _, scheme := range []string{"light", "dark"} {
			for _, width := range []int64{390, 600} {
				checkLetter(t, ctx, server.URL+"/"+name, scheme, width)
				picture(t, ctx, fmt.Sprintf("%s-%s-%d", name, scheme, width))
			}
		}
	}
}

func checkLetter(t *testing.T, ctx context.Context, url, scheme string, width int64) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 844)))
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url)))
	wide, err := chromedp.Run(ctx, chromedp.Evaluate[int64]("document.documentElement.scrollWidth"))
	require.NoError(t, err)
	assert.LessOrEqual(t, wide, width, url)
	small, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.querySelectorAll("p,li,h1,h2,h3,a")]
		.filter(e => parseFloat(getComputedStyle(e).fontSize) < 13).map(e => e.textContent).join("; ")`))
	require.NoError(t, err)
	assert.Empty(t, small, "text too small to read")
}

// picture keeps what the browser shows, when asked to.
func picture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv(pictures)
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600))
}

// TestBothFormsOfALetterSayTheSame: every line that the text gives is in the
// HTML.
func TestBothFormsOfALetterSayTheSame(t *testing.T) {
	d := open(t, ada())
	d.put(lowFlow(d.now))
	d.step()
	text, html := d.text(0), d.html(0)
	e := lowFlow(d.now)
	for _, part := range [][]string{{e.Title, e.Caution, e.Basis, e.SiteName, "since Wed 14 Jan, 10:00"}, e.Evidence, e.Causes, e.Next} {
		for _, words := range part {
			assert.Contains(t, text, words)
			assert.Contains(t, html, strings.ReplaceAll(words, "'", "&#39;"))
		}
	}
}
