package catalogue_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/site/catalogue"
)

var materials = []string{"copper", "multilayer", "pex", "steel"}

func TestEverySizeIsAPipe(t *testing.T) {
	for _, material := range materials {
		list := catalogue.Sizes(material)
		require.NotEmpty(t, list, material)
		for i, s := range list {
			_, _, ok := catalogue.ParseSize(s.String())
			assert.True(t, ok, s.String())
			if i > 0 {
				assert.GreaterOrEqual(t, s.BoreMM(), list[i-1].BoreMM(), "by bore")
			}
			found, ok := catalogue.Find(material, s.String())
			assert.True(t, ok)
			assert.Equal(t, s, found)
		}
		roughnessM, ok := catalogue.RoughnessM(material)
		assert.True(t, ok)
		assert.Less(t, roughnessM, 1e-4)
	}
	_, ok := catalogue.RoughnessM("lead")
	assert.False(t, ok)
	assert.Empty(t, catalogue.Sizes("lead"))
}

// Bores as two mills print them for EN 1057 tube.
func TestBoresOfCopper(t *testing.T) {
	for size, boreMM := range map[string]float64{"15x0.7": 13.6, "22x0.9": 20.2, "28x0.9": 26.2, "35x1.2": 32.6, "22x1": 20, "28x1.5": 25, "35x1.5": 32} {
		s, ok := catalogue.Find("copper", size)
		require.True(t, ok, size)
		assert.InDelta(t, boreMM, s.BoreMM(), 1e-9)
	}
	s, ok := catalogue.Find("copper", "22x1.0")
	assert.True(t, ok, "a size is its figures, not its spelling")
	assert.Equal(t, "22x1", s.String())
}

func TestLargerKeepsToTheSeries(t *testing.T) {
	check := func(material, size, want string) {
		t.Helper()
		s, ok := catalogue.Larger(material, size)
		assert.Equal(t, want != "", ok)
		assert.Equal(t, want, s.String())
	}
	check("copper", "15x0.7", "22x0.9")
	check("copper", "22x0.9", "28x0.9")
	check("copper", "28x0.9", "35x1.2")
	check("copper", "15x1", "18x1")
	check("copper", "22x1.0", "28x1.5")
	check("copper", "22x1.2", "28x1.5") // of no series: the nearest of any
	check("copper", "54x1.2", "")
	check("multilayer", "26x3", "32x3")
	check("multilayer", "25x2.5", "32x3") // 26x3 has the same bore
	check("pex", "17x2", "20x2")
	check("steel", "21.3x2.6", "26.9x2.6")
	check("lead", "22x0.9", "")
}

func TestLargerIsLarger(t *testing.T) {
	for _, material := range materials {
		for _, s := range catalogue.Sizes(material) {
			if next, ok := catalogue.Larger(material, s.String()); ok {
				assert.Greater(t, next.BoreMM(), s.BoreMM(), "%s after %s %s", next, material, s)
			}
		}
	}
}

func TestParseSize(t *testing.T) {
	for _, bad := range []string{"", "28", "x2", "16x", "15x7.5", "15x8", "16x0", "15 x 1", "-15x1"} {
		_, _, ok := catalogue.ParseSize(bad)
		assert.False(t, ok, bad)
	}
}

func TestFittingsHaveCoefficients(t *testing.T) {
	for _, f := range catalogue.Fittings() {
		zeta, ok := catalogue.Zeta(f.Name)
		assert.True(t, ok)
		assert.Equal(t, f.Zeta, zeta)
		assert.Greater(t, zeta, 0.0)
		assert.Equal(t, strings.ToLower(f.Name), f.Name)
	}
	_, ok := catalogue.Zeta("widget")
	assert.False(t, ok)
}
