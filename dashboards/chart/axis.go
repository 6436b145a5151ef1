package chart

import "fmt"

// drawAxis draws the ticks of the time axis through all panels, their labels
// below, and what enclosing days or months they belong to.
func (l layout) drawAxis(c Canvas, frame Box) {
	if l.clock.toMS-l.clock.fromMS <= 1 {
		return
	}
	clk, bottom := l.clock, frame.Bottom()
	style := noteStyle
	style.Anchor = Middle
	marks := clk.ticks(style)
	var ticks [][]Point
	for _, m := range marks {
		if m.label != "" {
			c.Text(style, Point{m.labelX, bottom + 15}, m.label)
		}
		if m.x >= clk.left && m.x <= clk.right {
			ticks = append(ticks, l.through(m.x)...)
			ticks = append(ticks, []Point{{m.x, bottom}, {m.x, bottom + 4}})
		}
	}
	c.Lines(Pen{Role: Grid, Width: 1}, ticks...)
	c.Lines(Pen{Role: Axis, Width: 1}, []Point{{clk.left, bottom}, {clk.right, bottom}})
	taken := l.drawChanges(c, bottom)
	for _, m := range clk.enclosing(style, taken) {
		if m.x > clk.left+1 && m.x < clk.right-1 {
			c.Lines(Pen{Role: Axis, Width: 1}, append(l.through(m.x), []Point{{m.x, bottom + 20}, {m.x, bottom + 32}})...)
		}
		if m.label != "" {
			c.Text(style, Point{m.labelX, bottom + 31}, m.label)
		}
	}
	if now := clk.x(clk.untilMS); clk.untilMS < clk.toMS {
		c.Lines(Pen{Role: Muted, Width: 1, Dash: Dotted}, l.through(now)...)
	}
}

// through returns an upright line in each panel.
func (l layout) through(x float64) [][]Point {
	var lines [][]Point
	for _, p := range l.panels {
		lines = append(lines, []Point{{x, p.frame.Y}, {x, p.frame.Bottom()}})
	}
	return lines
}

// drawChanges marks where the clocks change, and returns what of the lower
// row of labels that takes.
func (l layout) drawChanges(c Canvas, bottom float64) []extent {
	var taken []extent
	for _, change := range l.clock.changes() {
		c.Lines(Pen{Role: Muted, Width: 1, Dash: Dashed}, l.through(change.x)...)
		width := TextWidth(noteStyle, change.note)
		x := min(max(change.x-width/2, l.clock.left), l.clock.right-width)
		c.Text(noteStyle, Point{x, bottom + 31}, change.note)
		taken = append(taken, extent{x - 8, x + width + 8})
	}
	return taken
}

// enclosing returns the marks of the lower row: days under hours, months under
// days.
func (c clock) enclosing(style TextStyle, taken []extent) []mark {
	if c.hasHours(style) {
		return c.between(c.days(), style, taken, "Monday 2 January 2006", "Mon 2 Jan 2006", "Mon 2 Jan", "2 Jan")
	}
	return c.between(c.months(), style, taken, "January 2006", "Jan 2006", "Jan")
}

// hasHours says whether the upper row has times of day.
func (c clock) hasHours(style TextStyle) bool {
	last := clockSteps[len(clockSteps)-1]
	return float64(last.Milliseconds())/c.pixelMS() >= c.hourRoom(style)
}

// describe tells the range of a trace.
func (p panel) describe(t trace) string {
	if len(t.runs) == 0 {
		return t.Name + " no data"
	}
	return fmt.Sprintf("%s %s to %s%s%s", t.Name, number(t.low*p.factor, p.digits), number(t.high*p.factor, p.digits), nbsp, p.unit)
}
