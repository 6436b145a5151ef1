package chart

import (
	"bytes"
	"encoding/xml"
	"io"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// element is a node of a parsed picture.
type element struct {
	name string
	at   map[string]string
	text string
}

// parseSVG reads the bytes with the strict XML decoder.
func parseSVG(t *testing.T, picture []byte) []element {
	t.Helper()
	decoder := xml.NewDecoder(bytes.NewReader(picture))
	var all []element
	var open []int
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			require.Empty(t, open)
			return all
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, at: map[string]string{}}
			for _, a := range token.Attr {
				e.at[a.Name.Local] = a.Value
			}
			open = append(open, len(all))
			all = append(all, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				all[open[len(open)-1]].text += string(token)
			}
		}
	}
}

func named(all []element, name string) []element {
	var some []element
	for _, e := range all {
		if e.name == name {
			some = append(some, e)
		}
	}
	return some
}

// readPath reads path data by the grammar of SVG 1.1, section 8.3.9, for the
// commands that charts use, and returns its points.
func readPath(t *testing.T, d string) []Point {
	t.Helper()
	var points []Point
	var at, start Point
	var command byte
	number := func() float64 {
		d = strings.TrimLeft(d, " ")
		end := 0
		point := false
		for end < len(d) && (d[end] >= '0' && d[end] <= '9' || d[end] == '-' && end == 0 || d[end] == '.' && !point) {
			point = point || d[end] == '.'
			end++
		}
		v, err := strconv.ParseFloat(d[:end], 64)
		require.NoError(t, err, "at %q", d)
		d = d[end:]
		return v
	}
	for d = strings.TrimLeft(d, " "); d != ""; d = strings.TrimLeft(d, " ") {
		if strings.IndexByte("Mlhvz", d[0]) >= 0 {
			command, d = d[0], d[1:]
		}
		switch command {
		case 'M':
			at = Point{number(), number()}
			start = at
		case 'l':
			at = Point{at.X + number(), at.Y + number()}
		case 'h':
			at.X += number()
		case 'v':
			at.Y += number()
		case 'z':
			at = start
		}
		points = append(points, at)
	}
	return points
}

func TestPathsReadBackAsTheyWereDrawn(t *testing.T) {
	s := newSVG(Size{100, 100}, caption{"a", "b", "c"})
	line := []Point{{1, 2}, {1.5, 2}, {1.84, 2.04}, {1.9, 2.4}, {11.9, 2.4}, {11.9, 2.9}, {11.9, 3.3}, {12, 3.1}, {12.7, 3.8}, {2, 100}, {3, 110}, {3.4, 110}, {3.9, 110}, {3.9, 110}, {-5, -0.04}, {-5.5, 0}}
	s.Lines(Pen{Role: Flow, Width: 1}, line, []Point{{7, 7}, {8, 9}})
	paths := named(parseSVG(t, s.bytes()), "path")
	got := readPath(t, paths[len(paths)-1].at["d"])
	want := []Point{}
	for i, p := range append(append([]Point{}, line...), Point{7, 7}, Point{8, 9}) {
		if i == 13 { // the same place again
			continue
		}
		want = append(want, Point{float64(tenths(p.X)) / 10, float64(tenths(p.Y)) / 10})
	}
	require.Len(t, got, len(want))
	for i := range want {
		assert.InDelta(t, want[i].X, got[i].X, 1e-9, "x of %d", i)
		assert.InDelta(t, want[i].Y, got[i].Y, 1e-9, "y of %d", i)
	}
}

func TestRectReadsBack(t *testing.T) {
	s := newSVG(Size{100, 100}, caption{"a", "b", "c"})
	s.Rect(Heat, Box{0.5, 20, 10.25, 5}, Box{-1, 0, 2, 3})
	paths := named(parseSVG(t, s.bytes()), "path")
	got := readPath(t, paths[len(paths)-1].at["d"])
	want := []Point{{0.5, 20}, {10.8, 20}, {10.8, 25}, {0.5, 25}, {0.5, 20}, {-1, 0}, {1, 0}, {1, 3}, {-1, 3}, {-1, 0}}
	require.Len(t, got, len(want))
	for i := range want {
		assert.InDelta(t, want[i].X, got[i].X, 1e-9)
		assert.InDelta(t, want[i].Y, got[i].Y, 1e-9)
	}
}

func TestNothingDrawnIsNothingWritten(t *testing.T) {
	s := newSVG(Size{10, 10}, caption{})
	before := s.out.Len()
	s.Rect(Heat)
	s.Area(Heat)
	s.Lines(Pen{})
	assert.Equal(t, before, s.out.Len())
}

// hostileNames are what an owner, or someone with a grudge, may call a house
// or a room.
var hostileNames = []string{
	`</title><script>alert(1)</script>`,
	`"><svg onload=alert(1)>`,
	`' onmouseover='alert(1)`,
	`]]><![CDATA[<b>`,
	`&lt;&amp;&#60;`,
	`<!--`,
	"tab\tline\nreturn\rnul\x00bell\x07",
	"bad \xff\xfe bytes",
	"\u202egnp.exe\u2069\u200f",
	"Müller-Øster Česká Třebová Zażółć Ελλάδα Дом 漢字 🙂",
	strings.Repeat("long ", 400),
	"",
}

func TestHostileNamesStayText(t *testing.T) {
	for _, name := range hostileNames {
		d := plantTrace(februaryDay(t), 24*hour, 5*minute, Size{960, 600})
		d.ID, d.Title = name, name
		for i := range d.Series {
			d.Series[i].Name = name
		}
		d.Levels[0].Name = name
		all := parseSVG(t, d.SVG())
		allowed := map[string]bool{"svg": true, "title": true, "desc": true, "path": true, "text": true, "circle": true, "rect": true}
		for _, e := range all {
			require.True(t, allowed[e.name], "element %s of %q", e.name, name)
			for attribute := range e.at {
				require.False(t, strings.HasPrefix(attribute, "on"), "attribute %s of %q", attribute, name)
			}
		}
		for _, r := range "\u202e\u2069\u200f\x00" {
			assert.NotContains(t, string(d.SVG()), string(r))
		}
	}
}

func TestNamesAreWrittenWhole(t *testing.T) {
	s := newSVG(Size{100, 100}, caption{"a", "b", "c"})
	const name = `Bed & "breakfast" <north> Zażółć`
	s.Text(labelStyle, Point{1, 2}, name)
	texts := named(parseSVG(t, s.bytes()), "text")
	require.Len(t, texts, 1)
	assert.Equal(t, name, texts[0].text)
}

// The pattern for pictures in SVG with a name and a description: WAI-ARIA
// Graphics and the SVG Accessibility API mappings take role img, and the
// elements that aria-labelledby lists by id.
func TestPicturesHaveANameAndADescription(t *testing.T) {
	day := plantTrace(februaryDay(t), 24*hour, 5*minute, Size{960, 600})
	day.ID = "tower house day"
	bars := DayBars{ID: "bars", Title: "Two weeks", Days: fortnight(), Size: Size{700, 240}}
	spark := Sparkline{ID: "spark", Title: "Flow", FromMS: day.FromMS, ToMS: day.ToMS, Series: day.Series[0], Size: Size{120, 28}}
	ids := map[string]bool{}
	for _, picture := range [][]byte{day.SVG(), bars.SVG(), spark.SVG()} {
		all := parseSVG(t, picture)
		root := all[0]
		assert.Equal(t, "img", root.at["role"])
		assert.Equal(t, "title", all[1].name)
		assert.Equal(t, "desc", all[2].name)
		assert.NotEmpty(t, all[1].text)
		assert.NotEmpty(t, all[2].text)
		assert.Equal(t, []string{all[1].at["id"], all[2].at["id"]}, strings.Fields(root.at["aria-labelledby"]))
		for _, e := range all {
			if id := e.at["id"]; id != "" {
				assert.False(t, ids[id], "id %q twice", id)
				ids[id] = true
			}
		}
	}
}

func TestColoursAreAttributesAndClasses(t *testing.T) {
	css := CSS()
	d := plantTrace(februaryDay(t), 24*hour, 5*minute, Size{960, 600})
	for _, e := range parseSVG(t, d.SVG())[3:] {
		class := e.at["class"]
		if class == "" {
			assert.Contains(t, []string{"rect", "title"}, e.name, "only hints have no colour")
			continue
		}
		require.Contains(t, css, "."+class+"{")
		role := Role(strings.TrimPrefix(strings.TrimPrefix(class, "cw-f-"), "cw-s-"))
		paint := e.at["fill"]
		if strings.HasPrefix(class, "cw-s-") {
			paint = e.at["stroke"]
		}
		assert.Equal(t, role.Hex(), paint)
		assert.NotContains(t, e.at, "style", "a page's policy may forbid inline styles")
	}
}
