package login

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdpnetwork "github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/chart"
	"coldweek/ingest/programtest"
)

// pictures is where pictures of the pages are written, for looking at.
const pictures = "COLDWEEK_TEST_PICTURES"

// openBrowser starts Chromium, or skips the test where there is none.
func openBrowser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes some seconds to start")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(programtest.Find(t, "chromium", "chromium")),
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("hide-scrollbars", true))
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// dressed serves the door's pages with the sheet of the real ones.
func dressed(t *testing.T, d *door) {
	t.Helper()
	sheet, err := os.ReadFile("../web/static/coldweek.css")
	require.NoError(t, err)
	icon, err := os.ReadFile("../web/static/icon.svg")
	require.NoError(t, err)
	pages := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/static/coldweek.css":
			w.Header().Set("Content-Type", "text/css")
			fmt.Fprint(w, chart.CSS(), string(sheet))
		case "/static/icon.svg":
			w.Header().Set("Content-Type", "image/svg+xml")
			_, _ = w.Write(icon)
		default:
			d.pages().ServeHTTP(w, r)
		}
	})
	d.serve(d.gate.Guard(pages))
}

// faintest is the least contrast of letters on the page's ground, by the formula
// of WCAG 2.2 (relative luminance).
const faintest = `(() => {
	const luminance = c => { const [r, g, b] = c.match(/[\d.]+/g).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
		return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
	const ground = luminance(getComputedStyle(document.documentElement).backgroundColor);
	return Math.min(...[...document.querySelectorAll("body *")].filter(e => [...e.childNodes].some(c => c.nodeType === 3 && c.data.trim())).map(e => {
		const l = luminance(getComputedStyle(e).color);
		return (Math.max(l, ground) + 0.05) / (Math.min(l, ground) + 0.05);
	}));
})()`

// lowest is the height of the lowest thing to hit, overflow how much wider than
// its window the page is.
const (
	lowest   = `Math.min(...[...document.querySelectorAll("main input:not([type=hidden]), main button")].map(e => e.getBoundingClientRect().height), 100)`
	overflow = `document.documentElement.scrollWidth - document.documentElement.clientWidth`
)

func TestLogInInABrowser(t *testing.T) {
	d := newDoor(t, nil)
	dressed(t, d)
	ctx := openBrowser(t)
	do := func(actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		require.NoError(t, chromedp.Do(ctx, actions...))
	}
	text := func() string {
		t.Helper()
		s, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS("body")))
		require.NoError(t, err)
		return s
	}
	do(chromedp.Navigate("about:blank"))
	complaints := listen(chromedp.Console(ctx))
	_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err, "pages work without script")

	_, err = chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err, "as a window in front")

	// The keys alone: the first field has the focus, Enter sends.
	send := func(typed string) {
		t.Helper()
		_, err := chromedp.RunResponse(ctx, chromedp.KeyEvent(typed))
		require.NoError(t, err)
	}
	focused := func(id string) {
		t.Helper()
		for range 200 {
			ringed, err := chromedp.Run(ctx, chromedp.Evaluate[bool](fmt.Sprintf(
				`document.activeElement.id === %q && document.activeElement.matches(":focus-visible") && parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 2`, id)))
			require.NoError(t, err)
			if ringed {
				return
			}
			do(chromedp.Sleep(20 * time.Millisecond))
		}
		t.Fatalf("%s has no focus that is seen", id)
	}
	do(chromedp.Navigate(d.base + "/plants/mill?from=2026-01-01"))
	focused("name")
	assert.Equal(t, []string{"heading: Log in", "textbox: Name (focused)", "textbox: Password", "button: Log in"}, spoken(t, ctx))
	send("ada\tnot the password\r")
	focused("password")
	assert.Equal(t, []string{
		"heading: Log in", "alert: Name or password is not right.", "textbox: Name = ada, Name or password is not right.",
		"textbox: Password (focused), Name or password is not right.", "button: Log in",
	}, spoken(t, ctx))
	send(adaPassword + "\r")
	assert.Contains(t, text(), `GET /plants/mill by "ada" may true`)
	assert.Empty(t, complaints(), "the console")

	look(t, ctx, d)
	assert.Empty(t, complaints(), "the console, where a broken policy would show")
}

// look sees each page at two widths in two colours.
func look(t *testing.T, ctx context.Context, d *door) {
	t.Helper()
	_, err := chromedp.Call(ctx, cdpnetwork.ClearBrowserCookies, cdp.Empty{})
	require.NoError(t, err)
	token := mint(t, d.links, "moor")
	require.NoError(t, d.links.Withdraw("moor"))
	for name, address := range map[string]string{"out": "/login?out", "refused": "/login", "over": "/link/" + token, "wrong": "/link/x"} {
		for _, scheme := range []string{"light", "dark"} {
			_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
			})
			require.NoError(t, err)
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(d.base+address)))
			if name == "refused" {
				require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.CSS("#name"), "lee"), chromedp.SendKeys(chromedp.CSS("#password"), "x")))
				_, err := chromedp.RunResponse(ctx, chromedp.KeyEvent("\r"))
				require.NoError(t, err)
			}
			for _, width := range []int64{390, 1280} {
				require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800)))
				for expression, least := range map[string]float64{faintest: 4.5, lowest: 44, "0 - (" + overflow + ")": 0} {
					value, err := chromedp.Run(ctx, chromedp.Evaluate[float64](expression))
					require.NoError(t, err, "%s at %d px, %s: %.30s", name, width, scheme, expression)
					assert.GreaterOrEqual(t, value, least, "%s at %d px, %s: %.30s", name, width, scheme, expression)
				}
				picture(t, ctx, fmt.Sprintf("login-%s-%d-%s.png", name, width, scheme))
			}
		}
	}
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
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), png, 0o600))
}

// spoken is what a screen reader finds in the page: headings, alerts and fields
// with their names, descriptions and focus.
func spoken(t *testing.T, ctx context.Context) (said []string) {
	t.Helper()
	tree, err := chromedp.Call(ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	require.NoError(t, err)
	names := map[accessibility.NodeID]*accessibility.Node{}
	for _, n := range tree.Nodes {
		names[n.NodeID] = n
	}
	for _, n := range tree.Nodes {
		if n.Ignored {
			continue
		}
		switch role := plain(n.Role); role {
		case "heading", "textbox", "button":
			said = append(said, role+": "+plain(n.Name)+value(n)+focus(n)+described(n))
		case "alert":
			said = append(said, role+": "+inner(names, n))
		}
	}
	return said
}

func plain(v *accessibility.Value) string {
	var s string
	if v != nil {
		_ = json.Unmarshal(v.Value, &s) // what is no text says nothing
	}
	return s
}

func value(n *accessibility.Node) string {
	if v := plain(n.Value); v != "" {
		return " = " + v
	}
	return ""
}

func focus(n *accessibility.Node) string {
	for _, p := range n.Properties {
		if p.Name == "focused" && string(p.Value.Value) == "true" {
			return " (focused)"
		}
	}
	return ""
}

func described(n *accessibility.Node) string {
	if d := plain(n.Description); d != "" {
		return ", " + d
	}
	return ""
}

// inner is the text inside a node.
func inner(all map[accessibility.NodeID]*accessibility.Node, n *accessibility.Node) string {
	var b strings.Builder
	for _, id := range n.ChildIDs {
		child := all[id]
		if child == nil {
			continue
		}
		if plain(child.Role) == "StaticText" {
			b.WriteString(plain(child.Name))
			continue
		}
		b.WriteString(inner(all, child))
	}
	return b.String()
}

// listen returns what the console complained of so far.
func listen(console func(func(chromedp.ConsoleMessage, error) bool)) func() []string {
	var mu sync.Mutex
	var said []string
	go func() {
		for message, err := range console {
			if err != nil {
				return
			}
			if strings.Contains(message.Text, "responded with a status of") {
				continue // a refusal, as it should be
			}
			mu.Lock()
			said = append(said, message.String())
			mu.Unlock()
		}
	}()
	return func() []string {
		mu.Lock()
		defer mu.Unlock()
		return said
	}
}
