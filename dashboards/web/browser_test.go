package web

import (
	"context"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browser is a real Chromium on the pages.
type browser struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu   sync.Mutex
	said []chromedp.ConsoleMessage
}

// openBrowser starts Chromium, or skips the test where there is none.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes some seconds to start")
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		if os.Getenv("COLDWEEK_ALL") == "1" {
			t.Fatal("Chromium is not installed, and COLDWEEK_ALL=1 asks for every test")
		}
		t.Skip("Chromium is not installed")
	}
	server := httptest.NewServer(pages(t, nil))
	t.Cleanup(server.Close)
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("hide-scrollbars", true))
	ctx, cancel := context.WithTimeout(t.Context(), 8*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b := &browser{t: t, ctx: ctx, base: server.URL}
	b.do(chromedp.Navigate("about:blank"))
	go b.listen(chromedp.Console(ctx))
	return b
}

func (b *browser) listen(console func(func(chromedp.ConsoleMessage, error) bool)) {
	for message, err := range console {
		if err != nil {
			return
		}
		b.mu.Lock()
		b.said = append(b.said, message)
		b.mu.Unlock()
	}
}

func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, actions...))
}

// ask evaluates an expression in the page.
func ask[T any](b *browser, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	require.NoError(b.t, err, expression)
	return v
}

// until waits for an expression to be true.
func (b *browser) until(expression string) {
	b.t.Helper()
	for range 200 {
		if ask[bool](b, expression) {
			return
		}
		b.do(chromedp.Sleep(50 * time.Millisecond))
	}
	b.t.Fatalf("it never came true that %s; see %s", expression, ask[string](b, "location.href"))
}

// visit opens an address in a window, and waits until its script has run and
// its drawings fit.
func (b *browser) visit(address string, width int64, scheme string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
	require.NoError(b.t, err)
	b.do(chromedp.EmulateViewport(width, 900), chromedp.Navigate(b.base+address))
}

// complaints returns what the console was told so far, apart from plain notes.
func (b *browser) complaints() []string {
	b.t.Helper()
	end := fmt.Sprintf("end %d", time.Now().UnixNano())
	ask[bool](b, fmt.Sprintf("(console.info(%q), true)", end))
	for {
		if found, complete := b.heard(end); complete {
			return found
		}
		b.do(chromedp.Sleep(10 * time.Millisecond))
	}
}

// heard returns the complaints up to a message, and whether it has come.
func (b *browser) heard(end string) (found []string, complete bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, m := range b.said {
		switch {
		case m.Text == end:
			return found, true
		case m.Type != chromedp.ConsoleInfo && m.Type != chromedp.ConsoleLog && m.Type != chromedp.ConsoleDebug:
			found = append(found, m.String())
		}
	}
	return found, false
}

// overflow tells by how many pixels the page is wider than its window.
const overflow = `document.documentElement.scrollWidth - document.documentElement.clientWidth`

// smallest returns the size, in pixels on the screen, of the smallest letters
// that can be seen.
const smallest = `Math.min(...[...document.querySelectorAll("body *")].filter(e => e.getClientRects().length &&
	[...e.childNodes].some(c => c.nodeType === 3 && c.data.trim())).map(e => {
	const svg = e.closest("svg");
	const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
	return parseFloat(getComputedStyle(e).fontSize) * scale;
}))`

// faintest returns the least contrast, by the formula of WCAG 2.2 (relative
// luminance), of letters on the page's ground, drawings left out: their own
// test sees to them.
const faintest = `(() => {
	const luminance = c => { const [r, g, b] = c.match(/[\d.]+/g).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
		return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
	const ground = luminance(getComputedStyle(document.documentElement).backgroundColor);
	return Math.min(...[...document.querySelectorAll("body *")].filter(e => !e.closest("svg") && e.getClientRects().length &&
		[...e.childNodes].some(c => c.nodeType === 3 && c.data.trim())).map(e => {
		const l = luminance(getComputedStyle(e).color);
		return (Math.max(l, ground) + 0.05) / (Math.min(l, ground) + 0.05);
	}));
})()`

func TestInABrowser(t *testing.T) {
	b := openBrowser(t)
	day := "/plants/" + london + "?day=2026-01-14"
	for _, address := range append([]string{day, "/plants/" + hostile}, addresses...) {
		if address == nowhere {
			continue // the browser complains of it, as it should
		}
		for width, scheme := range map[int64]string{390: "dark", 1280: "light"} {
			b.fits(address, width, scheme)
		}
	}
	for _, address := range []string{"/", day, "/findings?state=all"} {
		for width, scheme := range map[int64]string{360: "light", 768: "dark"} {
			b.fits(address, width, scheme)
		}
	}
	assert.Empty(t, b.complaints(), "the console")

	t.Run("drag", func(t *testing.T) { b.drag(day) })
	t.Run("without script", func(t *testing.T) { b.withoutScript(day) })
	t.Run("print", func(t *testing.T) { b.print(day) })
	t.Run("find by keyboard", func(t *testing.T) { b.find() })
	t.Run("live", func(t *testing.T) { b.live() })
	t.Run("print a section", func(t *testing.T) { b.printSection() })
}

// fits sees that a page is not wider than its window and can be read.
func (b *browser) fits(address string, width int64, scheme string) {
	b.t.Helper()
	b.visit(address, width, scheme)
	assert.LessOrEqual(b.t, ask[float64](b, overflow), 0.0, "%s at %d px is wider than its window", address, width)
	b.until("(" + smallest + ") >= 10")
	assert.GreaterOrEqual(b.t, ask[float64](b, faintest), 4.5, "%s at %d px, %s (WCAG 2.2, 1.4.3)", address, width, scheme)
}

// find finds a plant without a mouse.
func (b *browser) find() {
	b.visit("/", 1280, "light")
	rows := `[...document.querySelectorAll("tr[data-plant]")].filter(r => !r.hidden).map(r => r.dataset.plant).join()`
	b.do(chromedp.KeyEvent("/"))
	require.Equal(b.t, "q", ask[string](b, "document.activeElement.id"))
	b.do(chromedp.KeyEvent("fox lane"))
	require.Equal(b.t, "fox lane", ask[string](b, `document.querySelector("#q").value`))
	b.until(rows + ` === "` + fallen + `"`)
	_, err := chromedp.RunResponse(b.ctx, chromedp.KeyEvent(kb.Enter))
	require.NoError(b.t, err)
	b.until(`location.search === "?q=fox+lane"`)
	b.until(rows + ` === "` + fallen + `"`)
}

// live shows what a stream says on an open page.
func (b *browser) live() {
	b.visit("/plants/"+checked, 390, "light")
	was := ask[string](b, `document.querySelector("[data-live] .readings").textContent`)
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-live] .readings").textContent = "old"`))
	b.visit("/plants/"+checked, 390, "light")
	b.until(`document.querySelector("[data-live] .readings").textContent.replace(/\s+/g, " ") === ` + fmt.Sprintf("%q", strings.Join(strings.Fields(strings.ReplaceAll(was, nbsp, " ")), " ")))
	assert.Equal(b.t, "Now", ask[string](b, `document.querySelector(".sections [aria-current]").textContent.trim()`))
	b.visit("/plants/"+checked+"/record", 390, "light")
	b.until(`(() => { const box = document.querySelector(".sections [aria-current]").getBoundingClientRect(); return box.left >= 0 && box.right <= innerWidth; })()`)
}

// printSection leaves the ways to other pages off the paper.
func (b *browser) printSection() {
	b.visit("/plants/"+checked+"/house", 1280, "dark")
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	require.NoError(b.t, err)
	assert.Zero(b.t, ask[int](b, `[...document.querySelectorAll(".sections, .masthead nav, .moves p")].filter(e => e.getClientRects().length).length`))
	assert.Equal(b.t, "rgb(23, 33, 43)", ask[string](b, `getComputedStyle(document.body).color`), "ink, whatever the screen's theme")
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(b.t, err)
	assert.LessOrEqual(b.t, len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1)), 4)
}

// drag looks closer by dragging across the drawing, and comes back.
func (b *browser) drag(day string) {
	t := b.t
	b.visit(day, 1280, "light")
	b.until(`!!document.querySelector(".drawing.ready .cw-wide svg[data-from-ms]")`)
	from := ask[float64](b, `(() => { const s = document.querySelector(".cw-wide svg"); s.scrollIntoView({block: "center"}); const r = s.getBoundingClientRect();
		return r.left + Number(s.dataset.left) + (s.dataset.right - s.dataset.left) / 4; })()`)
	to := ask[float64](b, `(() => { const s = document.querySelector(".cw-wide svg"); const r = s.getBoundingClientRect();
		return r.left + Number(s.dataset.left) + (s.dataset.right - s.dataset.left) / 2; })()`)
	y := ask[float64](b, `(() => { const r = document.querySelector(".cw-wide svg").getBoundingClientRect(); return r.top + r.height / 2; })()`)
	b.do(chromedp.DragAndDropXY(from, y, to, y))
	b.until(`document.querySelector("#period-name").textContent !== "Wed 14 Jan 2026"`)
	// A quarter to a half of the day is 06:00 to 12:00; a pixel is two minutes.
	assert.Regexp(t, `Wed 14 Jan 2026, (05:5\d|06:0\d) to (11:5\d|12:0\d)`, ask[string](b, `document.querySelector("#period-name").textContent`))
	assert.Contains(t, ask[string](b, "location.search"), "from=2026-01-14T0", "the plant's wall clock in the address")
	b.do(chromedp.NavigateBack())
	b.until(`document.querySelector("#period-name").textContent === "Wed 14 Jan 2026"`)
	assert.Empty(t, b.complaints(), "the console")
}

// withoutScript sees the drawing and steps a day on.
func (b *browser) withoutScript(day string) {
	t := b.t
	disable := func(yes bool) {
		_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: yes})
		require.NoError(t, err)
	}
	disable(true)
	defer disable(false)
	b.visit(day, 1280, "light")
	b.do(chromedp.WaitVisible(chromedp.CSS(".cw-wide svg")))
	_, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(`a[rel="next"]`)))
	require.NoError(t, err)
	heading, err := chromedp.Run(b.ctx, chromedp.Text(chromedp.CSS("#period-name")))
	require.NoError(t, err)
	assert.Equal(t, "Thu 15 Jan 2026", strings.TrimSpace(heading))
}

// print puts the day on two sheets: trace and figures, then the days.
func (b *browser) print(day string) {
	b.visit(day, 1280, "dark")
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(b.t, err)
	sheets := regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1)
	assert.Len(b.t, sheets, 2)
}
