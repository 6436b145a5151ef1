package chart

import "fmt"

// CurveScatter is the flow temperature of each hour of settled heating
// against the outdoor temperature, with the heating curve as it was set, as
// the plant follows it, and the lowest one that would hold the rooms.
type CurveScatter struct {
	ID, Title string // unique on the page; what the picture is of
	Hours     []CurveHour
	Need      int // hours that a fitted curve needs, said while there are fewer and none is Fitted
	// Curves are points by rising outdoor temperature, empty when not known.
	// Fitted is dashed beyond the hours.
	Set, Fitted, Lowest []CurveHour
	DesignOutdoorC      *float64 // the scale reaches to it
	Size                Size
}

// CurveHour is a flow temperature at an outdoor temperature.
type CurveHour struct{ OutdoorC, FlowC float64 }

// Extent returns the size at which the chart is drawn.
func (s CurveScatter) Extent() Size {
	return extentOf(s.Size, leastPlotHeight).unless(s.across() == noBounds)
}

// SVG returns the chart as a picture of its own.
func (s CurveScatter) SVG() []byte {
	picture := newSVG(s.Extent(), caption{s.ID, s.Title, s.describe()})
	s.Draw(picture)
	return picture.bytes()
}

// curve is one of the lines.
type curve struct {
	name   string
	pen    Pen
	points []CurveHour
}

// curves returns the lines that are known, in the order of the legend.
func (s CurveScatter) curves() []curve {
	var known []curve
	for _, c := range []curve{
		{"As set", Pen{Role: Target, Width: 2}, s.Set},
		{"As the plant follows it", Pen{Role: Flow, Width: 2.4}, s.Fitted},
		{"Lowest that holds the rooms", Pen{Role: Room, Width: 2, Dash: LongDash}, s.Lowest},
	} {
		if len(c.points) > 0 {
			known = append(known, c)
		}
	}
	return known
}

func (s CurveScatter) legend() []key {
	var keys []key
	if len(s.Hours) > 0 {
		keys = append(keys, key{name: "Hour of heating", role: Axis, look: spot})
	}
	for _, c := range s.curves() {
		keys = append(keys, key{name: c.name, role: c.pen.Role, look: stroke, dash: c.pen.Dash})
	}
	if len(s.Fitted) > 0 {
		keys = append(keys, key{name: "Beyond the hours", role: Flow, look: stroke, dash: Dashed})
	}
	return keys
}

// measured returns the bounds of the hours, and how many cannot be drawn.
func (s CurveScatter) measured() (outdoor, flow bounds, lost int) {
	outdoor, flow = noBounds, noBounds
	for _, h := range s.Hours {
		if !drawable(h.OutdoorC, h.FlowC) {
			lost++
			continue
		}
		outdoor, flow = outdoor.with(h.OutdoorC), flow.with(h.FlowC)
	}
	return outdoor, flow, lost
}

// across reaches over the hours and the design outdoor temperature, without
// hours over the curve as set.
func (s CurveScatter) across() bounds {
	across, _, _ := s.measured()
	if s.DesignOutdoorC != nil {
		across = across.with(*s.DesignOutdoorC)
	}
	if len(s.Hours) == 0 {
		for _, h := range s.Set {
			across = across.with(h.OutdoorC)
		}
	}
	return across
}

func (s CurveScatter) plot() plot {
	across := s.across()
	_, up, _ := s.measured()
	for _, c := range s.curves() {
		for _, h := range c.points {
			if h.OutdoorC >= across.low && h.OutdoorC <= across.high {
				up = up.with(h.FlowC)
			}
		}
	}
	return newPlot(s.Extent(), s.legend(), across.scaled(5, 0.04), up.scaled(10, 0.06), across == noBounds)
}

// Draw puts the chart on a canvas at its extent.
func (s CurveScatter) Draw(c Canvas) {
	p := s.plot()
	p.drawGround(c, "Flow temperature", "°C, mean of the hour", "Outdoor temperature °C")
	var places []Point
	for _, h := range s.Hours {
		if drawable(h.OutdoorC, h.FlowC) {
			places = append(places, p.at(h.OutdoorC, h.FlowC))
		}
	}
	drawSpots(c, Axis, 2.8, places)
	measured, _, _ := s.measured()
	for _, curve := range s.curves() {
		if curve.pen.Role == Flow {
			p.drawMeasured(c, curve.pen, lineOf(curve.points), measured)
		} else {
			c.Lines(curve.pen, p.points(lineOf(curve.points))...)
		}
	}
	s.drawDesign(c, p)
	p.say(c, append([]string{s.missing()}, s.atDesign()...)...)
}

func lineOf(hours []CurveHour) []XY {
	hours = hours[:min(len(hours), mostOnLine)]
	line := make([]XY, len(hours))
	for i, h := range hours {
		line[i] = XY{h.OutdoorC, h.FlowC}
	}
	return line
}

// drawDesign marks the design outdoor temperature.
func (s CurveScatter) drawDesign(c Canvas, p plot) {
	if s.DesignOutdoorC != nil && drawable(*s.DesignOutdoorC) {
		x := p.x(*s.DesignOutdoorC)
		c.Lines(Pen{Role: Muted, Width: 1, Dash: Dotted}, []Point{{x, p.frame.Bottom()}, {x, p.frame.Y}})
	}
}

// atDesign tells each curve's flow temperature on a design day.
func (s CurveScatter) atDesign() []string {
	if s.DesignOutdoorC == nil || !drawable(*s.DesignOutdoorC) {
		return nil
	}
	var lines []string
	said := map[Role]string{Target: "set", Flow: "followed", Room: "lowest"}
	for _, curve := range s.curves() {
		if flowC, known := heightAt(lineOf(curve.points), *s.DesignOutdoorC); known {
			lines = append(lines, fmt.Sprintf("%s %s%s°C", said[curve.pen.Role], number(flowC, 1), nbsp))
		}
	}
	if len(lines) > 0 {
		lines[0] = fmt.Sprintf("At %s%s°C outdoors: %s", number(*s.DesignOutdoorC, 0), nbsp, lines[0])
	}
	return lines
}

// missing says why there is no fitted curve.
func (s CurveScatter) missing() string {
	if len(s.Fitted) > 0 {
		return ""
	}
	_, _, lost := s.measured()
	return tooFew("hours of heating", len(s.Hours)-lost, s.Need)
}

func (s CurveScatter) describe() string {
	outdoor, flow, lost := s.measured()
	said := []string{s.missing()}
	if n := len(s.Hours) - lost; n > 0 {
		said = append(said, fmt.Sprintf("%s between %s and %s%s°C outdoors, flow %s to %s%s°C",
			counted(n, "hour"), number(outdoor.low, 1), number(outdoor.high, 1), nbsp, number(flow.low, 1), number(flow.high, 1), nbsp))
	}
	said = append(said, leftOut(lost, "hour"))
	return sentences(append(said, s.atDesign()...)...)
}
