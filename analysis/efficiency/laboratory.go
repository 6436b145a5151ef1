package efficiency

import (
	"maps"
	"math"
	"slices"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// Point is one test point of EN 14511: full output at an outdoor and a flow
// temperature. HeatW is 0 where it is not given.
type Point struct{ OutdoorC, FlowC, COP, HeatW float64 }

// Laboratory interpolates between test points, in outdoor and flow temperature.
//
// What is interpolated is the share of Carnot: it is nearly level where the COP
// bends, so that a straight line between points misses less. Points are joined
// to triangles with no other point within their circle (Delaunay 1934), and a
// triangle's share is a plane. Four points on one circle, as the corners of a
// table's cell are, can be joined both ways: the mean of both is taken. Outside
// all triangles nothing is known. Points at a single flow temperature make no
// triangle.
type Laboratory struct {
	points    []Point
	share     []float64
	triangles [][3]int
}

// NewLaboratory leaves out points whose flow is not warmer than the outdoors
// and repeated ones.
func NewLaboratory(points []Point) *Laboratory {
	l := &Laboratory{}
	for _, p := range points {
		if p.FlowC > p.OutdoorC && !l.has(p) {
			l.points = append(l.points, p)
			l.share = append(l.share, ShareOfCarnot(p.COP, p.OutdoorC, p.FlowC))
		}
	}
	for a := range l.points {
		for b := a + 1; b < len(l.points); b++ {
			for c := b + 1; c < len(l.points); c++ {
				if l.delaunay(a, b, c) {
					l.triangles = append(l.triangles, [3]int{a, b, c})
				}
			}
		}
	}
	return l
}

func (l *Laboratory) has(p Point) bool {
	for _, o := range l.points {
		if o.OutdoorC == p.OutdoorC && o.FlowC == p.FlowC {
			return true
		}
	}
	return false
}

// twiceArea is that of the triangle to two points and a place, positive when
// they turn left.
func twiceArea(a, b Point, outdoorC, flowC float64) float64 {
	return (b.OutdoorC-a.OutdoorC)*(flowC-a.FlowC) - (b.FlowC-a.FlowC)*(outdoorC-a.OutdoorC)
}

// delaunay says whether three points make a triangle whose circle holds no
// other.
func (l *Laboratory) delaunay(ia, ib, ic int) bool {
	a, b, c := l.points[ia], l.points[ib], l.points[ic]
	turn := twiceArea(a, b, c.OutdoorC, c.FlowC)
	if math.Abs(turn) < 1e-6 {
		return false
	}
	for i, p := range l.points {
		if i != ia && i != ib && i != ic && inCircle(a, b, c, p)*turn > 1e-6 {
			return false
		}
	}
	return true
}

// inCircle is the determinant that is positive when p lies within the circle
// through a, b and c in left turn (Guibas and Stolfi 1985).
func inCircle(a, b, c, p Point) float64 {
	row := func(q Point) (x, y, sq float64) {
		x, y = q.OutdoorC-p.OutdoorC, q.FlowC-p.FlowC
		return x, y, x*x + y*y
	}
	ax, ay, as := row(a)
	bx, by, bs := row(b)
	cx, cy, cs := row(c)
	return ax*(by*cs-bs*cy) - ay*(bx*cs-bs*cx) + as*(bx*cy-by*cx)
}

// Share returns the share of Carnot at an outdoor and a flow temperature, false
// outside the test points.
func (l *Laboratory) Share(outdoorC, flowC float64) (float64, bool) {
	return l.at(outdoorC, flowC, func(point int) float64 { return l.share[point] })
}

// HeatW returns the greatest heat output, a plane in each triangle; false outside
// the test points or where one of them does not give it.
func (l *Laboratory) HeatW(outdoorC, flowC float64) (float64, bool) {
	heatW, ok := l.at(outdoorC, flowC, func(point int) float64 {
		if heatW := l.points[point].HeatW; heatW > 0 {
			return heatW
		}
		return math.NaN()
	})
	return heatW, ok && !math.IsNaN(heatW)
}

// at interpolates what test points have.
func (l *Laboratory) at(outdoorC, flowC float64, value func(point int) float64) (float64, bool) {
	sum, n := 0.0, 0.0
	for _, t := range l.triangles {
		a, b, c := l.points[t[0]], l.points[t[1]], l.points[t[2]]
		whole := twiceArea(a, b, c.OutdoorC, c.FlowC)
		wa := twiceArea(b, c, outdoorC, flowC) / whole
		wb := twiceArea(c, a, outdoorC, flowC) / whole
		wc := 1 - wa - wb
		if !(min(wa, wb, wc) >= -1e-9) { // also where a temperature is NaN
			continue
		}
		sum += wa*value(t[0]) + wb*value(t[1]) + wc*value(t[2])
		n++
	}
	if n == 0 {
		return 0, false
	}
	return sum / n, true
}

// COP returns the interpolated COP, false outside the test points.
func (l *Laboratory) COP(outdoorC, flowC float64) (float64, bool) {
	share, ok := l.Share(outdoorC, flowC)
	return share * CarnotCOP(outdoorC, flowC), ok
}

// Comparison holds heating, with its defrosts, against test points at the
// temperatures it ran at. The laboratory ran at full output; at part load a
// plant should be a little better.
type Comparison struct {
	// HeatShare is the share of the heating heat that lies within the test
	// points; the rest is not compared. 0: none, or temperatures are not known.
	HeatShare float64
	FieldCOP  float64 // of what was compared, backup heater taken out
	LabCOP    float64 // the laboratory's for the same heat at the same temperatures
}

// Ratio is field by laboratory, false where nothing could be compared.
func (c *Comparison) Ratio() (float64, bool) {
	return c.FieldCOP / c.LabCOP, c.HeatShare > 0
}

// compare goes by bins of outdoor temperature, each at its mean flow
// temperature.
func (l *Laboratory) compare(bins map[int]siteday.Bin, m Meters) *Comparison {
	var compared work
	labJ, allJ := 0.0, 0.0
	for _, binC := range slices.Sorted(maps.Keys(bins)) {
		b := bins[binC]
		if b.HeatJ[operation.Heating] <= 0 {
			continue
		}
		w := m.machineIn(&b, operation.Heating).plus(m.machineIn(&b, operation.Defrost))
		allJ += w.heatJ
		outdoorC := float64(binC) + 0.5
		if share, ok := l.Share(outdoorC, flowOf(outdoorC, &b, operation.Heating)); ok {
			compared = compared.plus(w)
			labJ += w.idealJ / share
		}
	}
	if compared.heatJ < minHeatJ || compared.electricityJ <= 0 {
		return &Comparison{}
	}
	return &Comparison{HeatShare: compared.heatJ / allJ, FieldCOP: compared.heatJ / compared.electricityJ, LabCOP: compared.heatJ / labJ}
}
