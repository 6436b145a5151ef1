package chart

import (
	"fmt"
	"math"
	"time"
)

// DayBars is heat and electricity of each of some days: heat stacked by what
// it was for, electricity beside it.
type DayBars struct {
	ID    string // unique on the page
	Title string // what the picture is of, for who cannot see it
	Days  []Day  // one after the other, without omission
	Size  Size
}

// Day is one local day. What is not known is NaN.
type Day struct {
	Date                                  time.Time // its year, month and day are used
	SpaceKWh, HotWaterKWh, ElectricityKWh float64
	Coverage                              float64 // share of the day that was measured, 0 to 1
}

// enoughCoverage is the least coverage of a day whose bars are not hatched.
const enoughCoverage = 0.9

func (d Day) heatKWh() float64 { return known(d.SpaceKWh) + known(d.HotWaterKWh) }

func (d Day) heatKnown() bool { return isKnown(d.SpaceKWh) || isKnown(d.HotWaterKWh) }

func (d Day) empty() bool { return !d.heatKnown() && !isKnown(d.ElectricityKWh) }

func (d Day) doubtful() bool { return !d.empty() && !(d.Coverage >= enoughCoverage) }

func isKnown(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func known(v float64) float64 {
	if !isKnown(v) {
		return 0
	}
	return v
}

// SVG returns the bars as a picture of its own.
func (d DayBars) SVG() []byte {
	s := newSVG(d.Extent(), caption{d.ID, d.Title, d.describe()})
	d.Draw(s)
	return s.bytes()
}

// Extent returns the size at which the bars are drawn.
func (d DayBars) Extent() Size {
	return Size{max(d.Size.Width, leastWidth), max(d.Size.Height, 140)}
}

// barsLayout is where everything of the bars goes.
type barsLayout struct {
	frame Box
	scale scale
	slot  float64 // width of a day
	keys  [][]key
}

func (d DayBars) layout() barsLayout {
	size := d.Extent()
	low, high := 0.0, 1.0
	for _, day := range d.Days {
		low = min(low, known(day.SpaceKWh), known(day.HotWaterKWh), known(day.ElectricityKWh))
		high = max(high, day.heatKWh(), known(day.SpaceKWh), known(day.HotWaterKWh), known(day.ElectricityKWh))
	}
	l := barsLayout{scale: scale{low, high, 0, size.Height - axisHeight}}
	left := l.scale.numbersWidth() + 7
	l.keys = wrapKeys(d.legend(), size.Width-left)
	top := float64(len(l.keys))*keyHeight + headingHeight + 8
	l.scale.top = top
	l.scale.high += (high - low) * (smallSize + 6) / (l.scale.bottom - top)
	l.frame = Box{left, top, size.Width - left - 2, l.scale.bottom - top}
	l.slot = l.frame.W / max(1, float64(len(d.Days)))
	return l
}

func (d DayBars) legend() []key {
	keys := []key{
		{name: "Space heating", role: Heat, height: 1},
		{name: "Hot water", role: Cylinder, height: 1},
		{name: "Electricity", role: Power, height: 1},
	}
	return append(keys, lackKeys(d.Days, Day.doubtful, Day.empty)...)
}

// Draw puts the bars on a canvas at their extent.
func (d DayBars) Draw(c Canvas) {
	l := d.layout()
	drawKeys(c, l.keys, Point{X: l.frame.X})
	drawHeading(c, Point{l.frame.X, l.frame.Y - 15}, "Heat and electricity", "kWh a day", l.frame.Right())
	if len(d.Days) == 0 {
		style := labelStyle
		style.Anchor = Middle
		c.Text(style, Point{l.frame.X + l.frame.W/2, l.frame.Y + l.frame.H/2}, "No days yet")
		return
	}
	for i, day := range d.Days {
		if day.empty() {
			hatch(c, Box{l.frame.X + float64(i)*l.slot + 1, l.frame.Y, l.slot - 2, l.frame.H})
		}
	}
	drawRules(c, l.frame, l.scale)
	l.drawBars(c, d.Days)
	l.drawDates(c, d.Days)
	for i, day := range d.Days {
		c.Hint(Box{l.frame.X + float64(i)*l.slot, l.frame.Y, l.slot, l.frame.H}, day.describe())
	}
}

// bars are the boxes of one day.
type bars struct{ space, water, electricity Box }

func (l barsLayout) bars(i int, day Day) bars {
	x := l.frame.X + float64(i)*l.slot
	heat := Box{X: x + 0.12*l.slot, W: 0.46 * l.slot}
	electricity := Box{X: x + 0.62*l.slot, W: 0.26 * l.slot}
	space := known(day.SpaceKWh)
	base := max(space, 0)
	if day.HotWaterKWh < 0 {
		base = min(space, 0)
	}
	return bars{
		l.bar(heat, 0, space),
		l.bar(heat, base, base+known(day.HotWaterKWh)),
		l.bar(electricity, 0, known(day.ElectricityKWh)),
	}
}

// bar gives a box its height between two values.
func (l barsLayout) bar(b Box, fromKWh, toKWh float64) Box {
	b.Y = l.scale.y(max(fromKWh, toKWh))
	b.H = l.scale.y(min(fromKWh, toKWh)) - b.Y
	return b
}

func (l barsLayout) drawBars(c Canvas, days []Day) {
	var space, water, electricity []Box
	var doubtful []Box
	for i, day := range days {
		b := l.bars(i, day)
		space, water, electricity = append(space, b.space), append(water, b.water), append(electricity, b.electricity)
		if day.doubtful() {
			doubtful = append(doubtful, b.space, b.water, b.electricity)
		}
	}
	c.Rect(Heat, space...)
	c.Rect(Cylinder, water...)
	c.Rect(Power, electricity...)
	drawStripes(c, doubtful...)
	l.drawValues(c, days)
	drawZero(c, l.frame, l.scale)
}

// drawStripes strikes out what boxes show, as doubtful.
func drawStripes(c Canvas, boxes ...Box) {
	var stripes [][]Point
	for _, b := range boxes {
		stripes = append(stripes, Hatching(b, 6)...)
	}
	c.Lines(Pen{Role: Paper, Width: 2}, stripes...)
}

// drawValues writes the totals above the bars of a kind, if all have room.
func (l barsLayout) drawValues(c Canvas, days []Day) {
	var heat, electricity []value
	for i, day := range days {
		b := l.bars(i, day)
		if day.heatKnown() {
			heat = append(heat, value{number(day.heatKWh(), 0), Point{b.space.X + b.space.W/2, min(b.space.Y, b.water.Y) - 4}})
		}
		if isKnown(day.ElectricityKWh) {
			electricity = append(electricity, value{number(day.ElectricityKWh, 0), Point{b.electricity.X + b.electricity.W/2, b.electricity.Y - 4}})
		}
	}
	drawIfRoom(c, heat, l.slot-2)
	drawIfRoom(c, electricity, 0.38*l.slot)
}

// value is a number and where it stands.
type value struct {
	text string
	at   Point
}

// drawIfRoom sets all values, or none if one is wider than room.
func drawIfRoom(c Canvas, values []value, room float64) {
	style := noteStyle
	style.Anchor = Middle
	for _, v := range values {
		if TextWidth(style, v.text) > room {
			return
		}
	}
	for _, v := range values {
		c.Text(style, v.at, v.text)
	}
}

// drawDates names the days, and the months below them.
func (l barsLayout) drawDates(c Canvas, days []Day) {
	style := noteStyle
	style.Anchor = Middle
	layout, every := l.dateLayout(style)
	monthStart := 0
	for i, day := range days {
		middle := l.frame.X + (float64(i)+0.5)*l.slot
		if i%every == 0 {
			c.Text(style, Point{middle, l.frame.Bottom() + 15}, day.Date.Format(layout))
		}
		if i+1 < len(days) && days[i+1].Date.Month() == day.Date.Month() {
			continue
		}
		l.drawMonth(c, style, day.Date, monthStart, i+1)
		monthStart = i + 1
	}
}

// dateLayout returns the longest form of a date that fits a slot, and of how
// many days one is named.
func (l barsLayout) dateLayout(style TextStyle) (layout string, every int) {
	const gap = 5
	switch {
	case TextWidth(style, "Wed 27")+gap <= l.slot:
		return "Mon 2", 1
	case TextWidth(style, "27")+gap <= l.slot:
		return "2", 1
	}
	return "2", int(math.Ceil((TextWidth(style, "27") + gap) / l.slot))
}

func (l barsLayout) drawMonth(c Canvas, style TextStyle, date time.Time, from, to int) {
	left, right := l.frame.X+float64(from)*l.slot, l.frame.X+float64(to)*l.slot
	if from > 0 {
		c.Lines(Pen{Role: Axis, Width: 1}, []Point{{left, l.frame.Bottom() + 20}, {left, l.frame.Bottom() + 32}})
	}
	for _, layout := range []string{"January 2006", "Jan 2006", "Jan"} {
		if text := date.Format(layout); TextWidth(style, text) <= right-left {
			c.Text(style, Point{(left + right) / 2, l.frame.Bottom() + 31}, text)
			return
		}
	}
}

// describe tells one day in words.
func (d Day) describe() string {
	text := d.Date.Format("Mon 2 Jan 2006") + ": "
	if d.empty() {
		return text + "no data"
	}
	text += fmt.Sprintf("space heating %s, hot water %s, electricity %s", kWh(d.SpaceKWh), kWh(d.HotWaterKWh), kWh(d.ElectricityKWh))
	if d.doubtful() {
		text += fmt.Sprintf(", %s%s%% measured", number(100*known(d.Coverage), 0), nbsp)
	}
	return text
}

func kWh(v float64) string {
	if !isKnown(v) {
		return "not known"
	}
	return number(v, 1) + nbsp + "kWh"
}

// describe tells the sums in words.
func (d DayBars) describe() string {
	if len(d.Days) == 0 {
		return "No days yet."
	}
	sum := Day{}
	doubtful, empty := 0, 0
	for _, day := range d.Days {
		sum.SpaceKWh += known(day.SpaceKWh)
		sum.HotWaterKWh += known(day.HotWaterKWh)
		sum.ElectricityKWh += known(day.ElectricityKWh)
		if day.doubtful() {
			doubtful++
		}
		if day.empty() {
			empty++
		}
	}
	return fmt.Sprintf("%d days from %s to %s: space heating %s, hot water %s, electricity %s; %d days with less than 90%s%% measured, %d without data.",
		len(d.Days), d.Days[0].Date.Format("Mon 2 Jan 2006"), d.Days[len(d.Days)-1].Date.Format("Mon 2 Jan 2006"),
		kWh(sum.SpaceKWh), kWh(sum.HotWaterKWh), kWh(sum.ElectricityKWh), doubtful, nbsp, empty)
}
