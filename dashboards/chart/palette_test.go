package chart

import (
	"math"
	"strings"
	"testing"

	"github.com/lucasb-eyer/go-colorful"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sight turns the light a screen gives off, in linear RGB, into what a reader
// sees of it.
type sight [3][3]float64

// Matrices for full deficiency (severity 1.0) from G. M. Machado,
// M. M. Oliveira and L. A. F. Fernandes, "A Physiologically-based Model for
// Simulation of Color Vision Deficiency", IEEE Transactions on Visualization
// and Computer Graphics 15 (2009) 1291-1298, doi:10.1109/TVCG.2009.113, and
// its supplementary table.
var sights = map[string]sight{
	"usual":        {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

func (s sight) of(c colorful.Color) colorful.Color {
	r, g, b := c.LinearRgb()
	var seen [3]float64
	for i, row := range s {
		seen[i] = min(1, max(0, row[0]*r+row[1]*g+row[2]*b))
	}
	return colorful.LinearRgb(seen[0], seen[1], seen[2])
}

// contrast is the contrast ratio of WCAG 2.2, with its relative luminance.
func contrast(a, b colorful.Color) float64 {
	luminance := func(c colorful.Color) float64 {
		r, g, b := c.LinearRgb()
		return 0.2126*r + 0.7152*g + 0.0722*b
	}
	high, low := luminance(a), luminance(b)
	if high < low {
		high, low = low, high
	}
	return (high + 0.05) / (low + 0.05)
}

var themes = map[string]func(Role) colorful.Color{
	"light": func(r Role) colorful.Color { return mustHex(r.tint().light) },
	"dark":  func(r Role) colorful.Color { return mustHex(r.tint().dark) },
}

func mustHex(s string) colorful.Color {
	c, err := colorful.Hex(s)
	if err != nil {
		panic(err)
	}
	return c
}

// over mixes as a browser does, in encoded sRGB.
func over(top, ground colorful.Color, opacity float64) colorful.Color {
	mix := func(a, b float64) float64 { return a*opacity + b*(1-opacity) }
	return colorful.Color{R: mix(top.R, ground.R), G: mix(top.G, ground.G), B: mix(top.B, ground.B)}
}

// together are the roles that have to be told apart: lines of a panel, states
// of the strip, bars of a day.
var together = map[string][]Role{
	"temperatures": {Flow, Return, Target, Cylinder, Room, Outdoor},
	"power":        {Heat, Power, Backup},
	"states":       {Heat, Cylinder, Defrosting, Idle},
	"bars":         {Heat, Cylinder, Power},
	"split":        {Heat, Cylinder, Defrosting, Idle}, // the backup heater's part is striped besides
	"curves":       {Flow, Room, Target, Axis},
	"heat":         {Heat, Ink, Power},
	"runs":         {Heat, Backup},
	"compared":     {Power, Idle},
}

// WCAG 2.2 asks of graphics for a contrast of 3:1 (1.4.11), of text for 4.5:1
// (1.4.3).
const (
	leastContrast     = 3.0
	leastTextContrast = 4.5
)

func TestLinesStandOutFromEveryGround(t *testing.T) {
	for theme, colour := range themes {
		for _, roles := range [][]Role{together["temperatures"], together["power"], together["states"], {Rate}} {
			for _, role := range roles {
				for _, ground := range []Role{Paper, WaterWash, FrostWash, Missing} {
					assert.GreaterOrEqual(t, contrast(colour(role), colour(ground)), leastContrast, "%s: %s on %s", theme, role, ground)
				}
			}
		}
	}
}

func TestPointsAndBarsStandOutFromThePaper(t *testing.T) {
	for theme, colour := range themes {
		for _, role := range []Role{Axis, Idle, Backup, Defrosting, Power} {
			assert.GreaterOrEqual(t, contrast(colour(role), colour(Paper)), leastContrast, "%s: %s", theme, role)
		}
	}
}

// The area under the electricity lies below the other lines of its panel, and
// an envelope below its own mean.
func TestLinesStandOutFromAreas(t *testing.T) {
	for theme, colour := range themes {
		for _, pair := range [][2]Role{{Heat, Power}, {Backup, Power}, {Power, Power}, {Flow, Flow}, {Return, Return}, {Rate, Rate}, {Heat, Heat}} {
			area := over(colour(pair[1]), colour(Paper), AreaOpacity)
			assert.GreaterOrEqual(t, contrast(colour(pair[0]), area), leastContrast, "%s: %s on area of %s", theme, pair[0], pair[1])
		}
	}
}

func TestTextIsReadableOnEveryGround(t *testing.T) {
	for theme, colour := range themes {
		for _, text := range []Role{Ink, Muted} {
			for _, ground := range []Role{Paper, WaterWash, FrostWash, Missing} {
				assert.GreaterOrEqual(t, contrast(colour(text), colour(ground)), leastTextContrast, "%s: %s on %s", theme, text, ground)
			}
		}
	}
}

// A CIEDE2000 difference of about 2.3 is just noticed side by side (Mahy, Van
// Eycken and Oosterlinck 1994, for CIELAB); thin lines apart from each other
// need several times that. The palette holds 15.
func TestRolesTogetherAreToldApartByAllReaders(t *testing.T) {
	const least = 15
	for theme, colour := range themes {
		for name, roles := range together {
			for kind, s := range sights {
				for i, a := range roles {
					for _, b := range roles[:i] {
						difference := 100 * s.of(colour(a)).DistanceCIEDE2000(s.of(colour(b)))
						assert.GreaterOrEqual(t, difference, float64(least), "%s, %s, %s: %s and %s", theme, name, kind, a, b)
					}
				}
			}
		}
	}
}

// Check values: pairs 1 and 17 of G. Sharma, W. Wu and E. N. Dalal, "The
// CIEDE2000 Color-Difference Formula", Color Research and Application 30
// (2005), table 1; a grey is grey to all readers.
func TestTheMeasuresThemselves(t *testing.T) {
	lab := func(l, a, b float64) colorful.Color { return colorful.Lab(l/100, a/100, b/100) }
	assert.InDelta(t, 2.0425, 100*lab(50, 2.6772, -79.7751).DistanceCIEDE2000(lab(50, 0, -82.7485)), 1e-3)
	assert.InDelta(t, 27.1492, 100*lab(50, 2.5, 0).DistanceCIEDE2000(lab(73, 25, -18)), 1e-3)
	assert.InDelta(t, 21, contrast(mustHex("#000000"), mustHex("#ffffff")), 1e-9)
	for kind, s := range sights {
		grey := mustHex("#808080")
		assert.Less(t, grey.DistanceRgb(s.of(grey)), 1e-4, kind)
	}
}

func TestNeighboursOnTheStripTouchWithoutMerging(t *testing.T) {
	for i, a := range states {
		for _, b := range states[:i] {
			same := a.role == b.role && math.Abs(a.height-b.height) < 0.2
			assert.False(t, same, "%s and %s look alike", a.kind, b.kind)
		}
	}
}

func TestCSSHasEveryRoleInBothThemes(t *testing.T) {
	css := CSS()
	light, rest, found := strings.Cut(css, "@media screen and (prefers-color-scheme:dark)")
	require.True(t, found)
	for _, c := range palette {
		assert.Contains(t, light, "--cw-"+string(c.role)+":"+c.light+";")
		assert.Contains(t, rest, "--cw-"+string(c.role)+":"+c.dark+";")
		assert.Contains(t, rest, ".cw-f-"+string(c.role)+"{fill:var(--cw-"+string(c.role)+")}")
		assert.Contains(t, rest, ".cw-s-"+string(c.role)+"{stroke:var(--cw-"+string(c.role)+")}")
	}
	assert.Contains(t, rest, "@media print{:root{--cw-paper:#ffffff}}")
	assert.Equal(t, strings.Count(css, "{"), strings.Count(css, "}"))
}

func TestARoleThatIsNoneHasTheColourOfInk(t *testing.T) {
	assert.Equal(t, Ink.Hex(), Role(`x" onload="alert(1)`).Hex())
	assert.Equal(t, "ink", Role(`x" onload="alert(1)`).class())
}
