package pdf

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/chart"
	"coldweek/ingest/programtest"
)

var made = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// names are written on houses and rooms, composed, decomposed, and in letters
// the font has and has not.
var names = []string{
	"Müller-Øster", "Mu\u0308ller", "Česká Třebová", "Zażółć gęślą jaźń", "Ελλάδα", "Дом на холме", "−5.3\u00a0°C", "0.9 ÷ 2 ± 0.1 m³/h",
	"Mill 🏡 Cottage", "漢字", "nul\x00 bell\x07 tab\tend", "bad \xff\xe2 bytes \xf0\x9f", "\u202egnp.exe\u2069", `(brackets) \ slash`, "",
}

// sheet is a page with a trace, bars, and every shape of the canvas.
func sheet(t testing.TB) *fpdf.Fpdf {
	doc := New("Mill Cottage 🏡, Česká", made)
	doc.AddPage()
	height := Draw(doc, trace(), Place{LeftMM: 15, TopMM: 20, WidthMM: 180})
	height += Draw(doc, bars(), Place{LeftMM: 15, TopMM: 25 + height, WidthMM: 85})
	c := NewCanvas(doc, 110, 30+height, 0.25)
	c.Rect(chart.Heat, chart.Box{X: 0, Y: 0, W: 40, H: 20}, chart.Box{X: 50, Y: 0, W: 40, H: 20})
	c.Area(chart.Flow, []chart.Point{{X: 0, Y: 0}, {X: 90, Y: 10}, {X: 0, Y: 40}})
	c.Lines(chart.Pen{Role: chart.Return, Width: 2, Dash: chart.Dashed}, []chart.Point{{X: 0, Y: 50}, {X: 90, Y: 60}}, []chart.Point{{X: 100, Y: 55}})
	c.Dot(chart.Room, chart.Point{X: 100, Y: 10}, 5)
	c.Ring(chart.Pen{Role: chart.Room, Width: 2}, chart.Point{X: 120, Y: 10}, 5)
	c.Hint(chart.Box{W: 10, H: 10}, "not on paper")
	for i, name := range names {
		c.Text(chart.TextStyle{Role: chart.Ink, Size: 12, Bold: i%2 == 1, Anchor: chart.Anchor(i % 3)}, chart.Point{X: 150, Y: 80 + 16*float64(i)}, name)
	}
	require.NoError(t, doc.Error())
	return doc
}

func trace() chart.DayTrace {
	d := chart.DayTrace{ID: "day", FromMS: 0, ToMS: 24 * 3_600_000, Size: chart.Size{Width: 700, Height: 420}}
	s := chart.Series{Name: "Vorlauf Müller", Role: chart.Flow, MaxGapMS: 300_000}
	outdoor := chart.Series{Name: "Outdoor", Role: chart.Outdoor, MaxGapMS: 300_000}
	for ms := int64(0); ms < d.ToMS; ms += 60_000 {
		h := float64(ms) / 3_600_000
		if h < 10 || h > 11 {
			s.UnixMS, s.Value = append(s.UnixMS, ms), append(s.Value, 35+3*math.Sin(h*4))
			outdoor.UnixMS, outdoor.Value = append(outdoor.UnixMS, ms), append(outdoor.Value, -5+4*math.Sin(h/4))
		}
	}
	d.Series = []chart.Series{s, outdoor}
	d.Spans = []chart.Span{{FromMS: 0, ToMS: 20 * 3_600_000, Kind: chart.Heating}, {FromMS: 20 * 3_600_000, ToMS: 21 * 3_600_000, Kind: chart.HotWater}}
	return d
}

func bars() chart.DayBars {
	d := chart.DayBars{ID: "bars", Size: chart.Size{Width: 380, Height: 220}}
	for i := range 14 {
		d.Days = append(d.Days, chart.Day{Date: made.AddDate(0, 0, i), SpaceKWh: 60 + float64(i%4), HotWaterKWh: 8, ElectricityKWh: 21, Coverage: 1})
	}
	return d
}

func write(t testing.TB, doc *fpdf.Fpdf) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, doc.Output(&out))
	return out.Bytes()
}

// run writes the document to a file and returns what a program says of it.
func run(t *testing.T, program string, arguments ...string) string {
	t.Helper()
	path := programtest.Find(t, program, "poppler-utils")
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(file, write(t, sheet(t)), 0o600))
	for i, a := range arguments {
		arguments[i] = strings.ReplaceAll(a, "FILE", file)
	}
	said, err := exec.Command(path, arguments...).CombinedOutput()
	require.NoError(t, err, string(said))
	return string(said)
}

func TestTheSameInputGivesTheSameBytes(t *testing.T) {
	assert.True(t, bytes.Equal(write(t, sheet(t)), write(t, sheet(t))))
}

func TestTextReadsBackWhole(t *testing.T) {
	said := run(t, "pdftotext", "-layout", "FILE", "-")
	for _, want := range []string{
		"Müller-Øster", "Müller", "Česká Třebová", "Zażółć gęślą jaźń", "Ελλάδα", "Дом на холме", "−5.3 °C", "0.9 ÷ 2 ± 0.1 m³/h", "漢字",
		"Mill \ufffd Cottage", "gnp.exe", `(brackets) \ slash`, "Vorlauf Müller", "Hot water", "No data", "March 2026",
	} {
		assert.Contains(t, said, want)
	}
	assert.NotContains(t, said, "not on paper")
}

func TestFontsAreEmbeddedAndNothingIsARaster(t *testing.T) {
	fonts := strings.Split(strings.TrimSpace(run(t, "pdffonts", "FILE")), "\n")[2:]
	require.Len(t, fonts, 2, "upright and bold")
	for _, font := range fonts {
		// The columns are name, type, encoding, embedded, subset, to Unicode.
		assert.Regexp(t, `liberationsans(B)?\s+CID TrueType\s+Identity-H\s+yes\s+\S+\s+yes`, font)
	}
	images := strings.Split(strings.TrimSpace(run(t, "pdfimages", "-list", "FILE")), "\n")
	assert.Len(t, images, 2, "two lines of heading, no image: %q", images)
}

func TestOnlyUsedLettersAreEmbedded(t *testing.T) {
	assert.Less(t, len(write(t, sheet(t))), 100_000, "one face of Liberation Sans alone has 400 kB")
}

// pdftoppm's picture tells that shapes land where they were put and in which
// colour: 254 dots per inch are 10 a millimetre.
func TestShapesLandWhereTheyWerePut(t *testing.T) {
	path := programtest.Find(t, "pdftoppm", "poppler-utils")
	doc := New("", made)
	doc.AddPage()
	c := NewCanvas(doc, 20, 30, 0.5)
	c.Rect(chart.Heat, chart.Box{X: 10, Y: 20, W: 40, H: 20})
	c.Rect(chart.Paper, chart.Box{X: 20, Y: 25, W: 10, H: 10})
	c.Area(chart.Return, []chart.Point{{X: 100, Y: 20}, {X: 140, Y: 20}, {X: 140, Y: 40}, {X: 100, Y: 40}})
	c.Dot(chart.Room, chart.Point{X: 10, Y: 80}, 6)
	c.Lines(chart.Pen{Role: chart.Power, Width: 4}, []chart.Point{{X: 60, Y: 80}})
	dir := t.TempDir()
	file := filepath.Join(dir, "a.pdf")
	require.NoError(t, os.WriteFile(file, write(t, doc), 0o600))
	said, err := exec.Command(path, "-r", "254", "-png", "-singlefile", file, filepath.Join(dir, "a")).CombinedOutput()
	require.NoError(t, err, string(said))
	at := readPNG(t, filepath.Join(dir, "a.png"))
	for _, check := range []struct {
		xMM, yMM float64
		want     string
	}{
		{26, 41, chart.Heat.Hex()}, {24, 41, "#ffffff"}, {44, 49, chart.Heat.Hex()}, {46, 49, "#ffffff"}, {32, 45, "#ffffff"},
		{25, 70, chart.Room.Hex()}, {27.5, 70, chart.Room.Hex()}, {28.5, 70, "#ffffff"}, {50, 70, chart.Power.Hex()}, {51.5, 70, "#ffffff"},
		{80, 45, mixed(chart.Return)},
	} {
		assert.Equal(t, check.want, at(check.xMM, check.yMM), "at %v, %v mm", check.xMM, check.yMM)
	}
}

func TestDrawLeavesTheDocumentAsItWas(t *testing.T) {
	doc := New("", made)
	doc.AddPage()
	doc.SetFont(Family, "B", 17)
	doc.SetXY(33, 44)
	doc.SetLineWidth(0.7)
	doc.SetTextColor(1, 2, 3)
	assert.InDelta(t, 108, Draw(doc, trace(), Place{LeftMM: 15, TopMM: 20, WidthMM: 180}), 1e-9, "420 of 700 on 180 mm")
	x, y := doc.GetXY()
	points, _ := doc.GetFontSize()
	r, g, b := doc.GetTextColor()
	assert.Equal(t, []float64{33, 44, 17, 0.7}, []float64{x, y, points, doc.GetLineWidth()})
	assert.Equal(t, "B", doc.GetFontStyle())
	assert.Equal(t, []int{1, 2, 3}, []int{r, g, b})
	assert.Equal(t, "butt", doc.GetLineCapStyle())
}

func FuzzTextNeverLosesTheDocument(f *testing.F) {
	for _, name := range names {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, s string) {
		doc := New(s, made)
		doc.AddPage()
		NewCanvas(doc, 20, 20, 0.25).Text(chart.TextStyle{Role: chart.Ink, Size: 12}, chart.Point{}, s)
		doc.SetFont(Family, "", 10)
		doc.MultiCell(50, 5, Printable(s), "", "L", false)
		write(t, doc)
	})
}

func BenchmarkSheet(b *testing.B) {
	size := 0
	for b.Loop() {
		size = len(write(b, sheet(b)))
	}
	b.ReportMetric(float64(size), "bytes")
}
