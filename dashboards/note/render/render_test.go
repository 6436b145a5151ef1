package render_test

import (
	"bytes"
	"encoding/xml"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/notetest"
	"coldweek/dashboards/note/render"
	"coldweek/dashboards/note/words"
	"coldweek/ingest/programtest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
)

func composed(t testing.TB, f *note.Facts, tag string) *note.Document {
	t.Helper()
	l, err := words.Load(tag)
	require.NoError(t, err)
	return note.Compose(f, l)
}

const hostile = "</title><script>alert(1)</script>\u202e\" onload=\"x Českå Mu\u0308ller 😀"

// forms are all forms of a document.
func forms(t testing.TB, d *note.Document) map[string][]byte {
	t.Helper()
	all := map[string][]byte{"text": render.Plain(d)}
	for name, form := range map[string]func(*note.Document) ([]byte, error){"html": render.HTML, "mail": render.MailHTML, "pdf": render.PDF} {
		var err error
		all[name], err = form(d)
		require.NoError(t, err)
	}
	return all
}

// TestForms of one plant's notes, with names that mean harm and without.
func TestForms(t *testing.T) {
	plant := rig.Houses()[0]
	p := notetest.Play(t, plant, notetest.January, nil)
	facts := p.Facts(t)
	facts.Record.Name = "Müller-Øster, Česká Třebová"
	for _, tag := range words.Tags() {
		for _, facts.Engineer = range []bool{false, true} {
			d := composed(t, facts, tag)
			all := forms(t, d)
			for name, form := range forms(t, d) {
				assert.True(t, bytes.Equal(all[name], form), "%s of %s differs the second time", name, tag)
			}
			checkPDF(t, d, all["pdf"])
			checkHTML(t, d, all["html"], true)
			checkHTML(t, d, all["mail"], false)
			for _, line := range strings.Split(string(all["text"]), "\n") {
				assert.LessOrEqual(t, len([]rune(line)), 76)
			}
		}
	}
	facts.Engineer = false
	facts.Record.Name = hostile
	facts.Record.Contact = &site.Contact{Engineer: hostile, Homeowner: hostile, EngineerEmail: hostile}
	facts.Record.Emitters.Rooms[0].Place = hostile
	d := composed(t, facts, "en")
	all := forms(t, d)
	checkHTML(t, d, all["html"], true)
	checkHTML(t, d, all["mail"], false)
	assert.Contains(t, pdfText(t, all["pdf"]), "<script>alert(1)</script>", "on paper it is only text")
}

// checkHTML: it is well formed, runs nothing, loads nothing, and says all there is.
func checkHTML(t *testing.T, d *note.Document, page []byte, charts bool) {
	t.Helper()
	root, err := html.Parse(bytes.NewReader(page))
	require.NoError(t, err)
	pictures := 0
	var shown strings.Builder
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode {
			assert.NotContains(t, []string{"script", "iframe", "img", "link", "object", "form"}, n.Data)
			for _, a := range n.Attr {
				assert.False(t, strings.HasPrefix(a.Key, "on") || a.Key == "src" || a.Key == "href", "%s %s", n.Data, a.Key)
			}
			if n.Data == "svg" {
				pictures++
			}
		}
		if n.Type == html.TextNode {
			shown.WriteString(n.Data)
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	if charts {
		assert.Equal(t, 4, pictures, "two charts, each for wide and narrow screens")
	} else {
		assert.Zero(t, pictures)
		assert.Less(t, len(page), 102_000, "some mail programs cut off longer ones")
	}
	assert.NotContains(t, string(page), "url(")
	d.Texts(func(text words.Text) {
		if said := text.String(); !isSaidElsewhere(d, said, charts) {
			assert.Contains(t, shown.String(), said)
		}
	})
}

// isSaidElsewhere: the subject is the e-mail's, what is attached is no matter of
// the page, and what the record lacks is the engineer's.
func isSaidElsewhere(d *note.Document, said string, page bool) bool {
	if said == d.Subject.String() || page && (said == d.Attached.String() || said == d.InPDF.String()) {
		return true
	}
	for _, lack := range d.ForEngineer {
		if lack.String() == said {
			return !d.Engineer
		}
	}
	return false
}

func TestSVGsOfAPageAreXMLWithUniqueIDs(t *testing.T) {
	page, err := render.HTML(composed(t, emptied(t), "de"))
	require.NoError(t, err)
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(`\bid="([^"]+)"`).FindAllSubmatch(page, -1) {
		assert.False(t, ids[string(m[1])], "%s twice", m[1])
		ids[string(m[1])] = true
	}
	for _, svg := range regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAll(page, -1) {
		require.NoError(t, xml.Unmarshal(svg, new(struct{ XMLName xml.Name })))
	}
}

// emptied are the facts of a month without readings.
func emptied(t testing.TB) *note.Facts {
	t.Helper()
	record, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Europe/Berlin\n"))
	require.NoError(t, err)
	plant := &notetest.Plant{Record: record, Store: notetest.Empty(t), Month: notetest.January}
	return plant.Facts(t)
}

// TestAnEmptyMonthRenders on one page or two, without figures.
func TestAnEmptyMonthRenders(t *testing.T) {
	d := composed(t, emptied(t), "en")
	all := forms(t, d)
	assert.Contains(t, string(all["text"]), "is not known yet")
	assert.Contains(t, pdfText(t, all["pdf"]), "is not known yet")
	assert.LessOrEqual(t, pages(t, all["pdf"]), 2)
}

// checkPDF asks poppler: fonts embedded, title and language set, all text there
// with its accents and signs, the homeowner's on two pages.
func checkPDF(t *testing.T, d *note.Document, content []byte) {
	t.Helper()
	fonts := poppler(t, "pdffonts", content)
	assert.Equal(t, 2, strings.Count(fonts, "CID TrueType"), fonts)
	assert.NotContains(t, fonts, " no  no ", "a font is not embedded")
	info := poppler(t, "pdfinfo", content)
	assert.Contains(t, info, d.House.String())
	assert.Contains(t, info, "A4")
	assert.Contains(t, string(content), "/Lang (")
	if !d.Engineer {
		assert.LessOrEqual(t, pages(t, content), 2)
	}
	text := squeezed(pdfText(t, content))
	d.Texts(func(said words.Text) {
		if s := said.String(); s != d.Attached.String() && s != d.InPDF.String() && !isSaidElsewhere(d, s, true) {
			assert.Contains(t, text, squeezed(s))
		}
	})
}

// squeezed has no spaces, for lines break elsewhere on paper.
func squeezed(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\f' || r == ' ' || r == '\u00a0' }), "")
}

func pages(t *testing.T, content []byte) int {
	t.Helper()
	m := regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(poppler(t, "pdfinfo", content))
	require.Len(t, m, 2)
	return int(m[1][0] - '0')
}

func pdfText(t *testing.T, content []byte) string {
	t.Helper()
	return poppler(t, "pdftotext", content)
}

// poppler runs one of its programs on a PDF.
func poppler(t *testing.T, program string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "note.pdf")
	require.NoError(t, os.WriteFile(path, content, 0o600))
	args := []string{path}
	if program == "pdftotext" {
		args = []string{"-raw", path, "-"}
	}
	out, err := exec.CommandContext(t.Context(), programtest.Find(t, program, "poppler-utils"), args...).CombinedOutput()
	require.NoError(t, err, string(out))
	return string(out)
}

// FuzzNamesRender: no name keeps a note from being written.
func FuzzNamesRender(f *testing.F) {
	for _, name := range []string{hostile, "Zażółć gęślą jaźń", "\xff", "e\u0301\u0323", "\u0645\u0631\u062d", "日本", "\u200b\u2028"} {
		f.Add(name)
	}
	l, err := words.Load("de")
	require.NoError(f, err)
	record, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Europe/Berlin\n"))
	require.NoError(f, err)
	facts := emptied(f)
	f.Fuzz(func(t *testing.T, name string) {
		r := *record
		r.Name, r.Contact = name, &site.Contact{Engineer: name, EngineerPhone: name}
		own := *facts
		own.Record = &r
		d := note.Compose(&own, l)
		first, again := forms(t, d), forms(t, d)
		for form := range first {
			assert.Equal(t, first[form], again[form])
		}
	})
}

// BenchmarkNote is a note from stored days to its PDF, with both months before.
func BenchmarkNote(b *testing.B) {
	p := notetest.Good(b)
	l, err := words.Load("en")
	require.NoError(b, err)
	b.Run("gather", func(b *testing.B) {
		for b.Loop() {
			_, err := note.Gather(b.Context(), p.Store, p.Record, p.Month, notetest.Written, nil)
			require.NoError(b, err)
		}
	})
	facts := p.Facts(b)
	b.Run("compose", func(b *testing.B) {
		for b.Loop() {
			note.Compose(facts, l)
		}
	})
	d := note.Compose(facts, l)
	b.Run("pdf", func(b *testing.B) {
		for b.Loop() {
			_, err := render.PDF(d)
			require.NoError(b, err)
		}
	})
	b.Run("html", func(b *testing.B) {
		for b.Loop() {
			_, err := render.HTML(d)
			require.NoError(b, err)
		}
	})
	b.Run("all", func(b *testing.B) {
		before := processorTime(b)
		defer func() {
			b.ReportMetric(float64((processorTime(b)-before).Milliseconds())/float64(b.N), "cpu-ms/op")
		}()
		for b.Loop() {
			facts, err := note.Gather(b.Context(), p.Store, p.Record, p.Month, time.Now(), nil)
			require.NoError(b, err)
			_, err = render.PDF(note.Compose(facts, l))
			require.NoError(b, err)
		}
	})
}

// processorTime is what the process took so far, whoever else the machine works for.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var used syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &used))
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
