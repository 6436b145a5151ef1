package pdf

import (
	"fmt"
	"image/png"
	"os"
	"testing"

	"github.com/lucasb-eyer/go-colorful"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/chart"
)

// readPNG returns what colour a picture of ten dots a millimetre has at a
// point, as "#rrggbb".
func readPNG(t *testing.T, path string) func(xMM, yMM float64) string {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	picture, err := png.Decode(file)
	require.NoError(t, err)
	return func(xMM, yMM float64) string {
		r, g, b, _ := picture.At(int(10*xMM), int(10*yMM)).RGBA()
		return fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8)
	}
}

// mixed returns the colour of an area of the role on white, mixed in sRGB.
func mixed(role chart.Role) string {
	c, _ := colorful.Hex(role.Hex())
	return colorful.Color{R: 1, G: 1, B: 1}.BlendRgb(c, chart.AreaOpacity).Hex()
}
