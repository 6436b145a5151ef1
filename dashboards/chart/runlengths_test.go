package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func runMinutes(count int) []float64 {
	var minutes []float64
	for i := range count {
		minutes = append(minutes, 6*math.Exp(3.6*math.Abs(math.Sin(float64(i)*1.3))))
	}
	return minutes
}

func runChart(size Size) RunLengths {
	return RunLengths{ID: "runs", Title: "Runs", Classes: ClassRuns(runMinutes(180), 10), ShortMinutes: 10, Size: size}
}

func TestRunsAreCountedIntoClasses(t *testing.T) {
	classes := ClassRuns([]float64{0, 4.9, 5, 7.9, 8, 9, 59, 60, 5000, math.NaN(), math.Inf(1), -3}, 8)
	counts := map[float64]int{}
	for _, c := range classes {
		counts[c.BelowMinutes] = c.Count
	}
	assert.Equal(t, 2, counts[5])
	assert.Equal(t, 2, counts[8], "an edge of its own for the limit of short runs")
	assert.Equal(t, 2, counts[10])
	assert.Equal(t, 1, counts[60])
	assert.Equal(t, 1, counts[90])
	assert.Equal(t, 1, counts[math.Inf(1)])
	require.Len(t, classes, len(runEdges)+2)
}

func TestShortRunsAreMarkedAndCounted(t *testing.T) {
	r := RunLengths{Classes: ClassRuns([]float64{3, 4, 7, 33, 34, 34, 400}, 10), ShortMinutes: 10, Size: Size{700, 300}}
	drawn, p := draw(r), r.plot()
	assert.Contains(t, drawn.said(), "Short, less than 10\u00a0min: 3 of 7 (43\u00a0%)")
	var short, long int
	for _, f := range drawn.rects {
		inPlot := f.box.Y >= p.frame.Y && f.box.H > 0
		if inPlot && f.role == Backup {
			short++
		}
		if inPlot && f.role == Heat {
			long++
		}
	}
	assert.Equal(t, 2, short)
	assert.Equal(t, 2, long)
	stripes := 0
	for _, l := range drawn.lines {
		if l.pen.Role == Paper {
			stripes++
		}
	}
	assert.Positive(t, stripes, "not by colour alone")
	assert.Equal(t, "7 runs, 3 of them shorter than 10\u00a0min; 0\u00a0min to 5\u00a0min: 2 runs; 5\u00a0min to 10\u00a0min: 1 run; 30\u00a0min to 45\u00a0min: 3 runs; 6\u00a0h to 12\u00a0h: 1 run.", parseSVG(t, r.SVG())[2].text)
	assert.Contains(t, draw(RunLengths{Size: Size{380, 0}}).said(), "No whole runs yet")
}

func BenchmarkRunLengths(b *testing.B) { benchmark(b, runChart(Size{960, 0})) }
