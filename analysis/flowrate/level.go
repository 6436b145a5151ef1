package flowrate

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// cell is the settled heating of one day at one heat output.
type cell struct {
	day         int // in the days given
	outputW     float64
	flowLPH     float64
	differenceK float64 // NaN: not known
	durS        float64
}

// cellsOf takes apart the days with enough heating, in their order and by
// rising output.
func cellsOf(days []siteday.Day) []cell {
	var cells []cell
	for i := range days {
		steady := days[i].Sums.Steady
		outputs := slices.Sorted(maps.Keys(steady))
		totalS := 0.0
		for _, k := range outputs {
			totalS += steady[k].S
		}
		if totalS < minHeatingS {
			continue
		}
		for _, k := range outputs {
			if b := steady[k]; b.VolumeL > 0 {
				c := cell{i, siteday.OutputBinW(k), b.FlowLPH(), math.NaN(), b.S}
				if b.DifferenceS > 0 {
					c.differenceK = b.DiffKS / b.DifferenceS
				}
				cells = append(cells, c)
			}
		}
	}
	return cells
}

// usual is how the plant's flow goes with its output: ln flow = const +
// slope·u + bend·u², with u = ln(output/pivot).
type usual struct {
	pivotW      float64
	slope, bend float64
}

// minSpread of ln output within a day tells how flow goes with it. Below, the
// noise of the flow meter, which is in the output too, would look like it.
const minSpread = 0.05

// A day whose flow keeps to its output so many times worse than is usual, at best
// worse than a flow meter scatters, teaches nothing, nor does one that strays so far
// from its own line or whose line no pump has, as when the flow steps within the
// day. A pump that keeps the difference moves water in proportion to the output,
// slope 1; one that keeps its speed moves a little more of warmer water. How far beyond
// a line may lie is common practice, no source.
const (
	oddDay                = 3
	meterScatter          = 0.01
	stepWithin            = 0.15
	leastSlope, mostSlope = -0.3, 1.3
)

// learnUsual fits within days only (each day's means are taken out), so that
// a flow that falls from day to day cannot pass for one that goes with output.
// Odd days are those that stray from the middle one of all days' slopes.
func learnUsual(cells []cell) usual {
	u := usual{pivotW: weightedQuantile(cells, 0.5, func(c cell) (w, s float64) { return c.outputW, c.durS })}
	lines := map[int]dayLine{}
	var plain []dayLine
	eachDay(cells, func(of []cell) {
		line := u.lineOf(of)
		lines[of[0].day] = line
		if line.told && !line.odd() {
			plain = append(plain, line)
		}
	})
	first := usual{pivotW: u.pivotW, slope: middleSlope(plain)}
	var misses []float64
	missOf := map[int]float64{}
	eachDay(cells, func(of []cell) {
		missOf[of[0].day] = first.miss(of)
		misses = append(misses, missOf[of[0].day])
	})
	usually := weightedQuantile(misses, 0.5, func(miss float64) (float64, float64) { return miss, 1 }) // of two the lesser
	limit := oddDay * max(usually, meterScatter)
	return u.fitted(cells, func(day int) bool { return lines[day].odd() || missOf[day] > limit })
}

// middleSlope is the median slope of lines, each by how well its day keeps to it; 0
// without any.
func middleSlope(lines []dayLine) float64 {
	if len(lines) == 0 {
		return 0
	}
	return weightedQuantile(lines, 0.5, func(l dayLine) (slope, weight float64) {
		return l.slope, 1 / (l.miss*l.miss + meterScatter*meterScatter)
	})
}

// dayLine is how one day's flow goes with its output: by the slope, from which it
// strays by a root mean square.
type dayLine struct {
	told        bool // the output varied enough
	slope, miss float64
}

func (l dayLine) odd() bool {
	return l.miss > stepWithin || l.told && (l.slope < leastSlope || l.slope > mostSlope)
}

func (u usual) lineOf(of []cell) dayLine {
	m := u.meansOf(of)
	var xx, xy, yy float64
	for _, c := range of {
		x, y := u.place(c)-m.mean(0), math.Log(c.flowLPH)-m.mean(2)
		xx, xy, yy = xx+c.durS*x*x, xy+c.durS*x*y, yy+c.durS*y*y
	}
	l := dayLine{told: xx >= minSpread*minSpread*m.weight}
	if l.told {
		l.slope = xy / xx
		yy -= l.slope * xy
	}
	l.miss = math.Sqrt(max(0, yy) / m.weight)
	return l
}

// fitted returns the curve through the cells' logarithms by least squares,
// without odd days.
func (u usual) fitted(cells []cell, odd func(day int) bool) usual {
	var totalS, s11, s12, s22, s1y, s2y float64
	eachDay(cells, func(of []cell) {
		if odd(of[0].day) {
			return
		}
		m := u.meansOf(of)
		for _, c := range of {
			x := u.place(c)
			x1, x2, y := x-m.mean(0), x*x-m.mean(1), math.Log(c.flowLPH)-m.mean(2)
			totalS += c.durS
			s11, s12, s22 = s11+c.durS*x1*x1, s12+c.durS*x1*x2, s22+c.durS*x2*x2
			s1y, s2y = s1y+c.durS*x1*y, s2y+c.durS*x2*y
		}
	})
	if s11 == 0 || s11 < minSpread*minSpread*totalS {
		return u
	}
	// Cramer's rule; the bend is left out where it cannot be told from the slope.
	if det := s11*s22 - s12*s12; det > 0.05*s11*s22 {
		u.slope, u.bend = (s1y*s22-s2y*s12)/det, (s2y*s11-s1y*s12)/det
	} else {
		u.slope = s1y / s11
	}
	return u
}

// meansOf are those of place, its square and the flow's logarithm.
func (u usual) meansOf(of []cell) means {
	var m means
	for _, c := range of {
		m.add(c.durS, u.place(c), u.place(c)*u.place(c), math.Log(c.flowLPH))
	}
	return m
}

// miss is the root mean square by which a day's flows stray from the curve.
func (u usual) miss(of []cell) float64 {
	var level, squares means
	for _, c := range of {
		level.add(c.durS, math.Log(c.flowLPH/u.ratio(c.outputW)))
	}
	for _, c := range of {
		off := math.Log(c.flowLPH/u.ratio(c.outputW)) - level.mean(0)
		squares.add(c.durS, off*off)
	}
	return math.Sqrt(squares.mean(0))
}

// place is where a cell's output lies.
func (u usual) place(c cell) float64 { return math.Log(c.outputW / u.pivotW) }

// ratio is the flow usual at an output by that at the pivot.
func (u usual) ratio(outputW float64) float64 {
	x := math.Log(outputW / u.pivotW)
	return math.Exp(u.slope*x + u.bend*x*x)
}

// means are weighted means of up to three figures.
type means struct {
	weight float64
	sum    [3]float64
}

func (m *means) add(weight float64, values ...float64) {
	m.weight += weight
	for i, v := range values {
		m.sum[i] += weight * v
	}
}

func (m *means) mean(i int) float64 { return m.sum[i] / m.weight }

// eachDay calls visit for the cells of each day.
func eachDay(cells []cell, visit func(of []cell)) {
	for first, last := 0, 0; first < len(cells); first = last {
		for last = first; last < len(cells) && cells[last].day == cells[first].day; {
			last++
		}
		visit(cells[first:last])
	}
}

// levels makes the days of cells, and says what flow at the pivot their middle
// is.
func levels(days []siteday.Day, cells []cell, u usual) ([]Day, float64) {
	var found []Day
	eachDay(cells, func(of []cell) {
		d := &days[of[0].day]
		day := Day{Date: d.Date, From: d.From, To: d.To, index: of[0].day}
		day.MedianLPH, _ = d.Sums.Flow.Quantile(0.5)
		if outdoorC, ok := d.Sums.Outdoor.Of(); ok {
			day.OutdoorC = &outdoorC
		}
		var m means
		for _, c := range of {
			m.add(c.durS, math.Log(c.flowLPH/u.ratio(c.outputW)))
		}
		day.HeatingS, day.Level = m.weight, math.Exp(m.mean(0))
		found = append(found, day)
	})
	centre := middle(found, func(d Day) float64 { return d.Level })
	for i := range found {
		found[i].Level /= centre
	}
	return found, centre
}

// middle is the median over at least one day.
func middle(days []Day, of func(Day) float64) float64 {
	values := make([]float64, len(days))
	for i, d := range days {
		values[i] = of(d)
	}
	m, _ := robust.Median(values)
	return m
}

// weightedQuantile is the value below which the share of the weight of at least
// one item lies.
func weightedQuantile[T any](items []T, share float64, of func(T) (value, weight float64)) float64 {
	type weighed struct{ value, weight float64 }
	sorted := make([]weighed, len(items))
	left := 0.0
	for i, item := range items {
		sorted[i].value, sorted[i].weight = of(item)
		left += share * sorted[i].weight
	}
	slices.SortFunc(sorted, func(a, b weighed) int { return cmp.Compare(a.value, b.value) })
	for _, w := range sorted {
		if left -= w.weight; left <= 0 {
			return w.value
		}
	}
	return sorted[len(sorted)-1].value
}
