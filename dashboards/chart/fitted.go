package chart

import "slices"

// XY is a point of a line or of its band, in the units of its chart.
type XY struct{ X, Y float64 }

// mostOnLine is how many points of a fitted line are drawn.
const mostOnLine = 200

// points returns, in pixels, the stretches of a line that are known and lie in
// the frame.
func (p plot) points(line []XY) [][]Point {
	var all [][]Point
	var run []Point
	finish := func() {
		if len(run) > 1 {
			all = append(all, thin(run, lineTolerance))
		}
		run = nil
	}
	for i := 1; i < len(line); i++ {
		if !drawable(line[i-1].X, line[i-1].Y, line[i].X, line[i].Y) {
			finish()
			continue
		}
		a, b, inside := p.clip(p.at(line[i-1].X, line[i-1].Y), p.at(line[i].X, line[i].Y))
		if !inside || len(run) > 0 && run[len(run)-1] != a {
			finish()
		}
		if inside && len(run) == 0 {
			run = append(run, a)
		}
		if inside {
			run = append(run, b)
		}
	}
	finish()
	return all
}

// clip returns the part of the way from a to b inside the frame.
func (p plot) clip(a, b Point) (from, to Point, inside bool) {
	enter, leave := 0.0, 1.0
	cut := func(start, step, low, high float64) {
		if step == 0 {
			if start < low || start > high {
				leave = -1
			}
			return
		}
		first, last := (low-start)/step, (high-start)/step
		enter, leave = max(enter, min(first, last)), min(leave, max(first, last))
	}
	cut(a.X, b.X-a.X, p.frame.X, p.frame.Right())
	cut(a.Y, b.Y-a.Y, p.frame.Y, p.frame.Bottom())
	if enter > leave {
		return a, b, false
	}
	along := func(share float64) Point { return Point{a.X + share*(b.X-a.X), a.Y + share*(b.Y-a.Y)} }
	from, to = a, b
	if enter > 0 {
		from = along(enter)
	}
	if leave < 1 {
		to = along(leave)
	}
	return from, to, true
}

// split cuts a line at the ends of what was measured: the stretch between
// them, and what lies beyond.
func split(line []XY, measured bounds) (within, before, after []XY) {
	for _, v := range withPoint(withPoint(line, measured.low), measured.high) {
		if v.X <= measured.low {
			before = append(before, v)
		}
		if v.X >= measured.low && v.X <= measured.high {
			within = append(within, v)
		}
		if v.X >= measured.high {
			after = append(after, v)
		}
	}
	return within, before, after
}

// withPoint returns the line with a point of its own at x.
func withPoint(line []XY, x float64) []XY {
	for i := 1; i < len(line); i++ {
		if at, inside := between(line[i-1], line[i], x); inside {
			return slices.Insert(slices.Clone(line), i, at)
		}
	}
	return line
}

// between returns the point at x on the way from a to b, if x lies inside it.
func between(a, b XY, x float64) (XY, bool) {
	if !(a.X < x && x < b.X) {
		return XY{}, false
	}
	return XY{x, a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)}, true
}

// heightAt returns the height of a line at x.
func heightAt(line []XY, x float64) (float64, bool) {
	for i, v := range line {
		if v.X == x && drawable(v.Y) {
			return v.Y, true
		}
		if i == 0 || !drawable(line[i-1].X, line[i-1].Y, v.X, v.Y) {
			continue
		}
		if at, inside := between(line[i-1], v, x); inside {
			return at.Y, true
		}
	}
	return 0, false
}

// drawMeasured draws a line, dashed beyond what was measured.
func (p plot) drawMeasured(c Canvas, pen Pen, line []XY, measured bounds) {
	within, before, after := split(line, measured)
	c.Lines(pen, p.points(within)...)
	pen.Dash = Dashed
	c.Lines(pen, append(p.points(before), p.points(after)...)...)
}
