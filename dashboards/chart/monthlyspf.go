package chart

import (
	"fmt"
	"math"
	"time"
)

// MonthlySPF is the heat a plant gave for its electricity in each month: bars
// for space heating and hot water, a mark with its 95 % interval for both
// together.
type MonthlySPF struct {
	ID, Title string // unique on the page; what the picture is of
	Boundary  string // what counts as electricity, said in the heading; may be ""
	Months    []SPFMonth
	Size      Size
}

// SPFMonth is one month. What is not known is NaN.
type SPFMonth struct {
	Month              time.Time // its year and month are used
	Overall, Low, High float64   // with its 95 % interval
	Space, HotWater    float64
	Coverage           float64 // share of the month that was measured, 0 to 1
}

func (m SPFMonth) empty() bool {
	return !drawable(m.Overall) && !drawable(m.Space) && !drawable(m.HotWater)
}

func (m SPFMonth) doubtful() bool { return !m.empty() && !(m.Coverage >= enoughCoverage) }

// Extent returns the size at which the chart is drawn.
func (m MonthlySPF) Extent() Size {
	return extentOf(m.Size, leastPlotHeight).unless(len(m.Months) == 0)
}

// SVG returns the chart as a picture of its own.
func (m MonthlySPF) SVG() []byte {
	s := newSVG(m.Extent(), caption{m.ID, m.Title, m.describe()})
	m.Draw(s)
	return s.bytes()
}

// mostMonths is how many months are drawn, the last ones.
const mostMonths = 36

func (m MonthlySPF) months() []SPFMonth { return m.Months[max(0, len(m.Months)-mostMonths):] }

func (m MonthlySPF) plot() plot {
	up := noBounds
	for _, month := range m.months() {
		up = up.with(month.Overall, month.Space, month.HotWater)
		if drawable(month.Overall, month.Low, month.High) {
			up = up.with(month.Low, month.High)
		}
	}
	return newPlot(m.Extent(), m.legend(), bounds{0, math.Max(1, float64(len(m.months())))}, up.fromZero(1, 0.12), len(m.Months) == 0)
}

func (m MonthlySPF) legend() []key {
	if len(m.Months) == 0 {
		return nil
	}
	keys := []key{
		{name: "Space heating", role: Heat, height: 1}, {name: "Hot water", role: Cylinder, height: 1},
		{name: "Both, with 95" + nbsp + "% interval", role: Ink, look: whisker},
	}
	return append(keys, lackKeys(m.months(), SPFMonth.doubtful, SPFMonth.empty)...)
}

// Draw puts the chart on a canvas at its extent.
func (m MonthlySPF) Draw(c Canvas) {
	p := m.plot()
	unit := "kWh of heat per kWh of electricity"
	if m.Boundary != "" {
		unit += ", " + m.Boundary
	}
	p.drawHead(c, "SPF", unit)
	if len(m.Months) == 0 {
		say(c, p.frame, "No months yet")
		return
	}
	months := m.months()
	for i, month := range months {
		if month.empty() {
			hatch(c, Box{p.x(float64(i)) + 1, p.frame.Y, p.slot() - 2, p.frame.H})
		}
	}
	drawRules(c, p.frame, p.scale)
	p.drawMonthBars(c, months)
	for i, month := range months {
		p.drawOverall(c, i, month)
	}
	p.drawOveralls(c, months)
	p.drawMonthNames(c, months)
	for i, month := range months {
		c.Hint(Box{p.x(float64(i)), p.frame.Y, p.slot(), p.frame.H}, month.describe())
	}
}

// slot is the width of a unit of the scale across.
func (p plot) slot() float64 { return p.frame.W / (p.high - p.low) }

// monthBar is the width of a bar.
func (p plot) monthBar() float64 { return min(0.36*p.slot(), 34) }

// drawMonthBars draws both bars of each month, and strikes out the doubtful.
func (p plot) drawMonthBars(c Canvas, months []SPFMonth) {
	var space, water, doubtful []Box
	for i, month := range months {
		middle, width := p.x(float64(i)+0.5), p.monthBar()
		var bars []Box
		if drawable(month.Space) {
			bars = append(bars, p.upright(middle-1.06*width, width, month.Space))
			space = append(space, bars[0])
		}
		if drawable(month.HotWater) {
			bar := p.upright(middle+0.06*width, width, month.HotWater)
			water, bars = append(water, bar), append(bars, bar)
		}
		if month.doubtful() {
			doubtful = append(doubtful, bars...)
		}
	}
	c.Rect(Heat, space...)
	c.Rect(Cylinder, water...)
	drawStripes(c, doubtful...)
	drawZero(c, p.frame, p.scale)
}

// upright returns the box of a bar from zero to a value.
func (p plot) upright(x, width, value float64) Box {
	top := p.scale.y(max(0, value))
	return Box{x, top, width, p.scale.y(min(0, value)) - top}
}

// drawOverall marks both together across the bars.
func (p plot) drawOverall(c Canvas, i int, m SPFMonth) {
	if !drawable(m.Overall) {
		return
	}
	p.drawWhisker(c, p.at(float64(i)+0.5, m.Overall), m.Low, m.High, 1.2*p.monthBar(), min(5, 0.6*p.monthBar()))
}

// drawOveralls writes the figures above the bars, if all have room.
func (p plot) drawOveralls(c Canvas, months []SPFMonth) {
	var values []value
	for i, m := range months {
		if !drawable(m.Overall) {
			continue
		}
		top := bounds{0, m.Overall}.with(m.Space, m.HotWater)
		if drawable(m.Low, m.High) {
			top = top.with(m.High)
		}
		values = append(values, value{number(m.Overall, 1), Point{p.x(float64(i) + 0.5), p.scale.y(top.high) - 5}})
	}
	drawIfRoom(c, values, p.slot()-2)
}

// drawMonthNames names the months, and the years below.
func (p plot) drawMonthNames(c Canvas, months []SPFMonth) {
	style := noteStyle
	style.Anchor = Middle
	letters, every := p.monthLetters(style)
	bottom, first := p.frame.Bottom(), 0
	for i, m := range months {
		if i%every == 0 {
			name := m.Month.Format("January")
			c.Text(style, Point{p.x(float64(i) + 0.5), bottom + 15}, name[:min(letters, len(name))])
		}
		if i+1 < len(months) && months[i+1].Month.Year() == m.Month.Year() {
			continue
		}
		p.drawYear(c, style, m.Month.Format("2006"), first, i+1)
		first = i + 1
	}
}

// monthLetters returns how many letters of a month's name fit, and of how
// many months one is named.
func (p plot) monthLetters(style TextStyle) (letters, every int) {
	room := p.slot() - 4
	switch {
	case TextWidth(style, "September") <= room:
		return len("September"), 1
	case TextWidth(style, "May") <= room:
		return len("May"), 1
	case TextWidth(style, "M") <= room:
		return 1, 1
	}
	return 1, int(math.Ceil((TextWidth(style, "M") + 4) / p.slot()))
}

// drawYear names the year of the months from first to before end.
func (p plot) drawYear(c Canvas, style TextStyle, year string, first, end int) {
	left, right, bottom := p.x(float64(first)), p.x(float64(end)), p.frame.Bottom()
	if TextWidth(style, year) <= right-left {
		c.Text(style, Point{(left + right) / 2, bottom + 31}, year)
	}
	if first > 0 {
		c.Lines(Pen{Role: Axis, Width: 1}, []Point{{left, bottom + 20}, {left, bottom + 32}})
	}
}

func spf(v float64) string {
	if !drawable(v) {
		return "not known"
	}
	return number(v, 2)
}

func (m SPFMonth) describe() string {
	text := m.Month.Format("January 2006") + ": "
	if m.empty() {
		return text + "no data"
	}
	text += "SPF " + spf(m.Overall)
	if drawable(m.Overall, m.Low, m.High) {
		text += fmt.Sprintf(" (%s to %s)", number(m.Low, 2), number(m.High, 2))
	}
	text += fmt.Sprintf(", space heating %s, hot water %s", spf(m.Space), spf(m.HotWater))
	if m.doubtful() {
		text += fmt.Sprintf(", %s%s%% measured", number(100*known(m.Coverage), 0), nbsp)
	}
	return text
}

func (m MonthlySPF) describe() string {
	if len(m.Months) == 0 {
		return "No months yet."
	}
	var said []string
	for _, month := range m.months() {
		said = append(said, month.describe())
	}
	return sentences(said...)
}
