package grafana

import (
	"testing"

	"github.com/lucasb-eyer/go-colorful"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Matrices on linear RGB for full deficiency from Machado, Oliveira and
// Fernandes 2009, doi:10.1109/TVCG.2009.113, supplementary table.
var sights = map[string][3][3]float64{
	"usual":        {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

func seen(matrix [3][3]float64, c colorful.Color) colorful.Color {
	r, g, b := c.LinearRgb()
	var out [3]float64
	for i, row := range matrix {
		out[i] = min(1, max(0, row[0]*r+row[1]*g+row[2]*b))
	}
	return colorful.LinearRgb(out[0], out[1], out[2])
}

// TestColoursAreToldApartByAllReaders: those of lines and bars by 20, those of
// states, which stand beside their words, by 14.
func TestColoursAreToldApartByAllReaders(t *testing.T) {
	for _, group := range []struct {
		colours []string
		least   float64
	}{
		{[]string{ochre, blue, green, purple, grey}, 20},
		{[]string{fine, notable, alarm, grey}, 14},
	} {
		for sight, matrix := range sights {
			for i, a := range group.colours {
				for _, b := range group.colours[:i] {
					difference := 100 * seen(matrix, hex(t, a)).DistanceCIEDE2000(seen(matrix, hex(t, b)))
					assert.GreaterOrEqual(t, difference, group.least, "%s: %s and %s", sight, a, b)
				}
			}
		}
	}
}

// TestColoursStandOutFromBothGrounds: WCAG 2.2 asks of graphics for a contrast of
// 3:1 (1.4.11). The grounds are those of a panel in Grafana's two themes.
func TestColoursStandOutFromBothGrounds(t *testing.T) {
	for _, ground := range []string{"#ffffff", "#181b1f"} {
		for _, colour := range []string{ochre, blue, green, purple, grey, alarm} {
			high, low := luminance(hex(t, colour)), luminance(hex(t, ground))
			if high < low {
				high, low = low, high
			}
			assert.GreaterOrEqual(t, (high+0.05)/(low+0.05), 3.0, "%s on %s", colour, ground)
		}
	}
}

func luminance(c colorful.Color) float64 {
	r, g, b := c.LinearRgb()
	return 0.2126*r + 0.7152*g + 0.0722*b
}

func hex(t *testing.T, text string) colorful.Color {
	t.Helper()
	c, err := colorful.Hex(text)
	require.NoError(t, err)
	return c
}
