package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// defrostBins are invented: defrosts are most frequent about freezing, and
// few hours were spent in the deep frost.
func defrostBins() []DefrostBin {
	var bins []DefrostBin
	for c := -12.0; c < 12; c++ {
		hours := 60 * math.Exp(-(c-2)*(c-2)/40)
		rate := 0.9 * math.Exp(-(c-1)*(c-1)/14)
		defrosts := int(hours * rate)
		bins = append(bins, DefrostBin{FromC: c, ToC: c + 1, RunHours: hours, Defrosts: defrosts, DefrostHours: float64(defrosts) * 0.07})
	}
	return bins
}

func TestThinBinsLookThin(t *testing.T) {
	d := DefrostsByOutdoor{Bins: []DefrostBin{{0, 1, 20, 2, 10}, {1, 2, 5, 0.5, 5}, {2, 3, 1, 0.1, 1}, {3, 4, 40, 1, 0}}, Size: Size{700, 400}}
	p, r := d.plots()[0], draw(d)
	var bars []Box
	for _, f := range r.rects {
		if f.role == Defrosting && f.box.Bottom() <= p.frame.Bottom()+0.1 && f.box.Y >= p.frame.Y {
			bars = append(bars, f.box)
		}
	}
	require.Len(t, bars, 3, "the bin without defrosts has a spot instead")
	assert.InDelta(t, bars[0].W/2, bars[1].W, 1e-9)
	assert.InDelta(t, bars[0].W/10, bars[2].W, 1e-9)
	for i, perHour := range []float64{0.5, 1, 1} {
		assert.InDelta(t, p.scale.y(0)-p.scale.y(perHour), bars[i].H, 1e-9)
	}
	assert.Contains(t, r.said(), "A narrow bar stands on less than 10\u00a0h")
}

func TestADefrostShareThatIsNotKnownHasNoPanel(t *testing.T) {
	bins := defrostBins()
	assert.Contains(t, draw(DefrostsByOutdoor{Bins: bins, Size: Size{700, 0}}).said(), "Time in defrost")
	for i := range bins {
		bins[i].DefrostHours = math.NaN()
	}
	said := draw(DefrostsByOutdoor{Bins: bins, Size: Size{700, 0}}).said()
	assert.NotContains(t, said, "Time in defrost")
	assert.Contains(t, said, "Hours run")
}

func TestDefrostBinsDescribeThemselves(t *testing.T) {
	d := DefrostsByOutdoor{Bins: []DefrostBin{{0, 1, 20, 2, 10}, {1, 2, 5, 0.5, 5}, {5, 4, 9, 1, 1}, {8, 9, 0, 0, 0}}}
	assert.Equal(t, "15 defrosts in 25\u00a0h of running between 0 and 2\u00a0°C; most often at 0 to 1\u00a0°C: 10 defrosts in 20.0\u00a0h of running, 10.0\u00a0% of the time; "+
		"2 bins could not be drawn.", parseSVG(t, d.SVG())[2].text)
	assert.Contains(t, draw(DefrostsByOutdoor{Size: Size{380, 0}}).said(), "No hours of running yet")
}

func BenchmarkDefrostsByOutdoor(b *testing.B) {
	benchmark(b, DefrostsByOutdoor{ID: "d", Bins: defrostBins(), Size: Size{960, 0}})
}
