package robust

import (
	"cmp"
	"math"
	"slices"
)

// mostPoints is how many points TheilSen takes: their pairs, two million, fill
// 16 MB and take some tens of milliseconds.
const mostPoints = 2000

// Line is a straight line through points.
type Line struct {
	Slope     Estimate
	Intercept float64 // y at x = 0
	N         int     // points it stands on
}

// At returns the line's y.
func (l Line) At(x float64) float64 { return l.Intercept + l.Slope.Value*x }

// TheilSen fits a line whose slope is the median of the slopes of all pairs of
// points with different x, so that up to 29 % of the points may be wrong. Its
// interval is Sen's, of ranks, with Kendall's variance corrected for ties in x
// and in y:
//
//	z/2 · sqrt((n(n-1)(2n+5) - sum over ties t(t-1)(2t+5)) / 18)
//
// The intercept is the median of y - slope·x. The other customary choice,
// median(y) - slope·median(x), goes through a point that need not lie on the
// line and can miss by some noise's width.
//
// Of more than 2,000 points it takes every second, third and so on in the order
// of x; N says how many. False when fewer than five points, or too few different
// x, are left for a 95 % interval. x and y must be equally long.
func TheilSen(x, y []float64) (Line, bool) {
	points := thinned(pairsOf(x, y))
	slopes := slopesOf(points)
	if len(slopes) == 0 {
		return Line{}, false
	}
	n := float64(len(points))
	variance := n*(n-1)*(2*n+5) - tiesOf(points, func(p point) float64 { return p.x }) - tiesOf(points, func(p point) float64 { return p.y })
	slope, ok := rankEstimate(slopes, normal95*math.Sqrt(max(variance, 0)/18)/2)
	if !ok {
		return Line{}, false
	}
	rests := make([]float64, len(points))
	for i, p := range points {
		rests[i] = p.y - slope.Value*p.x
	}
	slices.Sort(rests)
	return Line{Slope: slope, Intercept: middle(rests), N: len(points)}, true
}

type point struct{ x, y float64 }

// pairsOf returns the finite points by ascending x.
func pairsOf(x, y []float64) []point {
	if len(x) != len(y) {
		panic("robust: slice length mismatch")
	}
	points := make([]point, 0, len(x))
	for i := range x {
		if finite(x[i]) && finite(y[i]) {
			points = append(points, point{x[i], y[i]})
		}
	}
	slices.SortStableFunc(points, func(a, b point) int { return cmp.Compare(a.x, b.x) })
	return points
}

func thinned(points []point) []point {
	step := (len(points) + mostPoints - 1) / mostPoints
	if step <= 1 {
		return points
	}
	kept := make([]point, 0, mostPoints)
	for i := 0; i < len(points); i += step {
		kept = append(kept, points[i])
	}
	return kept
}

// slopesOf returns the slope of every pair with different x.
func slopesOf(points []point) []float64 {
	slopes := make([]float64, 0, len(points)*(len(points)-1)/2)
	for j, b := range points {
		for _, a := range points[:j] {
			if b.x > a.x {
				slopes = append(slopes, (b.y-a.y)/(b.x-a.x))
			}
		}
	}
	return slopes
}

func tiesOf(points []point, coordinate func(point) float64) float64 {
	values := make([]float64, len(points))
	for i, p := range points {
		values[i] = coordinate(p)
	}
	return ties(values, kendallTies)
}
