package chart

import "math"

// How many points of a cloud are drawn at most; a cross has more bytes.
const (
	mostSpots   = 3000
	mostCrosses = 800
)

// cloud keeps, of points that lie on one another, one of each place. Places
// grow until few enough are left, so outliers always stay.
func cloud(points []Point, most int) []Point {
	for cell := 1.0; ; cell++ {
		seen := map[[2]int]bool{}
		var kept []Point
		for _, p := range points {
			place := [2]int{int(math.Floor(p.X / cell)), int(math.Floor(p.Y / cell))}
			if !seen[place] {
				seen[place] = true
				kept = append(kept, p)
			}
		}
		if len(kept) <= most {
			return kept
		}
	}
}

// drawSpots draws points as round spots of one path.
func drawSpots(c Canvas, role Role, diameter float64, points []Point) {
	lines := make([][]Point, 0, len(points))
	for _, p := range cloud(points, mostSpots) {
		lines = append(lines, []Point{p})
	}
	c.Lines(Pen{Role: role, Width: diameter}, lines...)
}

// drawCrosses draws doubtful points.
func drawCrosses(c Canvas, role Role, points []Point) {
	const r = 2.6
	var lines [][]Point
	for _, p := range cloud(points, mostCrosses) {
		lines = append(lines, []Point{{p.X - r, p.Y - r}, {p.X + r, p.Y + r}}, []Point{{p.X - r, p.Y + r}, {p.X + r, p.Y - r}})
	}
	c.Lines(Pen{Role: role, Width: 1.3}, lines...)
}
