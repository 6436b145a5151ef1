package chart

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Widths of Helvetica and Helvetica-Bold in thousandths of the size, from
// Adobe's Core 14 font metrics (AFM, Font 1.05); Arial and Liberation Sans
// were drawn to the same widths.
func TestTextWidthIsThatOfHelvetica(t *testing.T) {
	for _, c := range []struct {
		text string
		bold bool
		mils float64
	}{
		{"A", false, 667}, {"W", false, 944}, {"i", false, 222}, {"m", false, 833}, {"0", false, 556}, {" ", false, 278},
		{"A", true, 722}, {"W", true, 944}, {"i", true, 278}, {"m", true, 889}, {"0", true, 556},
		{"Wi0", false, 944 + 222 + 556},
		{"é", false, 556}, {"°", false, 400},
	} {
		got := TextWidth(TextStyle{Size: 1000, Bold: c.bold}, c.text)
		assert.InDelta(t, c.mils, got, 0.6, "%q bold %v", c.text, c.bold)
	}
}

func TestTextWidthCountsUnknownRunesAsFullSize(t *testing.T) {
	assert.InDelta(t, 24, TextWidth(TextStyle{Size: 12}, "漢字"), 1e-9)
	assert.InDelta(t, 12, TextWidth(TextStyle{Size: 12}, "🙂"), 1e-9)
}

func TestFitText(t *testing.T) {
	style := TextStyle{Size: 12}
	assert.Equal(t, "Kitchen", fitText(style, "  Kitchen\n", 60))
	long := "The room above the old stables"
	for width := 13.0; width < 150; width += 3 {
		short := fitText(style, long, width)
		assert.LessOrEqual(t, TextWidth(style, short), width)
		assert.Contains(t, short, "…")
	}
	assert.Empty(t, fitText(style, long, 1), "not even an ellipsis fits")
}

func TestWrapText(t *testing.T) {
	style := TextStyle{Size: 12}
	lines := wrapText(style, "No readings on Tue 3 Feb 2026", 90)
	assert.Equal(t, []string{"No readings on", "Tue 3 Feb 2026"}, lines)
}
