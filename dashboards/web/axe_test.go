package web

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// axeVersion of axe-core, fetched by npm for the test and never kept.
const axeVersion = "4.14.1"

// axeScript returns axe-core's script, or skips the test where npm cannot fetch it.
func axeScript(t *testing.T) string {
	t.Helper()
	npm := programtest.Find(t, "npm", "npm")
	dir := t.TempDir()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	pack := exec.CommandContext(ctx, npm, "pack", "axe-core@"+axeVersion, "--silent")
	pack.Dir = dir
	if out, err := pack.CombinedOutput(); err != nil {
		programtest.Missing(t, "npm cannot fetch axe-core: "+err.Error()+"\n"+string(out))
	}
	script, err := unpacked(filepath.Join(dir, "axe-core-"+axeVersion+".tgz"), "package/axe.min.js")
	require.NoError(t, err)
	return script
}

// unpacked returns a file of a packed archive.
func unpacked(archive, name string) (string, error) {
	file, err := os.Open(archive)
	if err != nil {
		return "", err
	}
	defer file.Close()
	plain, err := gzip.NewReader(file)
	if err != nil {
		return "", err
	}
	for files := tar.NewReader(plain); ; {
		head, err := files.Next()
		if err != nil {
			return "", err
		}
		if head.Name == name {
			text, err := io.ReadAll(files)
			return string(text), err
		}
	}
}

// violation is what axe-core found.
type violation struct {
	ID, Impact, Help string
	Nodes            []string
}

// nowhere is a page that is not there.
const nowhere = "/plants/nobody"

// addresses are all pages, each with something on it.
var addresses = []string{
	"/", "/?q=nothing", "/findings", "/findings?state=all", "/findings?state=muted&severity=urgent", "/intake",
	"/plants/" + checked, "/plants/" + checked + "?from=2026-01-08&to=2026-01-15", "/plants/" + checked + "?from=2025-12-20&to=2026-01-15",
	"/plants/" + checked + "/findings", findingAddress(checked, &lasting), findingAddress(checked, &past),
	"/plants/" + checked + "/energy?last=7", "/plants/" + checked + "/energy?last=365", "/plants/" + checked + "/house", "/plants/" + checked + "/running",
	"/plants/" + london + "/hydraulics", "/plants/" + london + "/hot-water", "/plants/" + london + "/sensors", "/plants/" + london + "/record",
	"/plants/" + checked + "/notes", draftOfDecember, "/notes", "/notes?month=2025-11", "/plants/" + london + "/visit", "/plants/" + hostile + "/house", "/plants/" + barn, "/plants/" + barn + "/energy", nowhere,
}

// TestAccessible: no page has a serious fault that axe-core can find, in light and in
// dark. Contrast is measured beside it, see faintest.
func TestAccessible(t *testing.T) {
	axe := axeScript(t)
	b := openBrowser(t)
	for _, scheme := range []string{"light", "dark"} {
		for _, address := range addresses {
			b.visit(address, 1280, scheme)
			ask[bool](b, axe+"; true")
			var found []violation
			answer, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`axe.run(document, {resultTypes: ["violations"]}).then(r => JSON.stringify(r.violations.map(v =>
				({ID: v.id, Impact: v.impact, Help: v.help, Nodes: v.nodes.slice(0, 3).map(n => n.html.slice(0, 200))}))))`, chromedp.EvalAwaitPromise))
			require.NoError(t, err, address)
			require.NoError(t, json.Unmarshal([]byte(answer), &found))
			for _, v := range found {
				assert.NotContains(t, []string{"serious", "critical"}, v.Impact, "%s, %s: %s (%s)\n%v", address, scheme, v.Help, v.ID, v.Nodes)
			}
		}
	}
}
