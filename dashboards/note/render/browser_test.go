package render_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/note/notetest"
	"coldweek/dashboards/note/render"
	"coldweek/ingest/programtest"
	"coldweek/ingest/rig"
)

// pictures is where pictures are written, for looking at.
const pictures = "COLDWEEK_TEST_PICTURES"

// TestPagesFitAPhone looks at the two kinds of HTML in a real browser, 390 and 600
// pixels wide: nothing runs over the side, and one variant of each chart shows.
func TestPagesFitAPhone(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes some seconds to start")
	}
	path := programtest.Find(t, "chromium", "chromium")
	d := composed(t, notetest.Play(t, rig.Houses()[2], notetest.January, nil).Facts(t), "de")
	served := map[string][]byte{}
	var err error
	served["/page"], err = render.HTML(d)
	require.NoError(t, err)
	served["/mail"], err = render.MailHTML(d)
	require.NoError(t, err)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write(served[r.URL.Path])
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
	for name := range served {
		for _, width := range []int64{390, 600} {
			lookAt(t, ctx, server.URL, name, width)
		}
	}
}

func lookAt(t *testing.T, ctx context.Context, url, name string, width int64) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 844)))
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url+name)))
	wide, err := chromedp.Run(ctx, chromedp.Evaluate[int64]("document.documentElement.scrollWidth"))
	require.NoError(t, err)
	assert.LessOrEqual(t, wide, width, "%s at %d", name, width)
	charts, err := chromedp.Run(ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("svg")].filter(s => s.getBoundingClientRect().width > 0).length`))
	require.NoError(t, err)
	assert.Equal(t, map[string]int{"/page": 2, "/mail": 0}[name], charts)
	if dir := os.Getenv(pictures); dir != "" {
		picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("browser-%s-%d.png", name[1:], width)), picture, 0o600))
	}
}
