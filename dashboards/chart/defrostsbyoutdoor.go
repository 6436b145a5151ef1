package chart

import (
	"fmt"
	"math"
	"slices"
)

// DefrostsByOutdoor is how often, and for which share of its running time,
// the plant defrosted at each outdoor temperature, above the hours it ran
// there. The bar of a bin with few hours is as narrow as they are few.
type DefrostsByOutdoor struct {
	ID, Title string // unique on the page; what the picture is of
	Bins      []DefrostBin
	Size      Size
}

// DefrostBin is what happened while the outdoor temperature was from FromC to
// ToC. DefrostHours are part of RunHours; NaN when not known.
type DefrostBin struct {
	FromC, ToC             float64
	RunHours, DefrostHours float64
	Defrosts               int
}

// fullHours is how long the plant ran in a bin whose bars are of full width.
const fullHours = 10

func (b DefrostBin) usable() bool {
	return drawable(b.FromC, b.ToC, b.RunHours) && b.FromC < b.ToC && b.RunHours > 0 && b.Defrosts >= 0
}

func (b DefrostBin) perHour() float64 { return float64(b.Defrosts) / b.RunHours }

// sharePct returns NaN when it is not known.
func (b DefrostBin) sharePct() float64 {
	if !(b.DefrostHours >= 0) {
		return math.NaN()
	}
	return 100 * b.DefrostHours / b.RunHours
}

// Extent returns the size at which the chart is drawn.
func (d DefrostsByOutdoor) Extent() Size { return extentOf(d.Size, 380).unless(len(d.usable()) == 0) }

// SVG returns the chart as a picture of its own.
func (d DefrostsByOutdoor) SVG() []byte {
	s := newSVG(d.Extent(), caption{d.ID, d.Title, d.describe()})
	d.Draw(s)
	return s.bytes()
}

// mostBins is how many bins have room.
const mostBins = 100

// usable returns the bins that can be drawn.
func (d DefrostsByOutdoor) usable() []DefrostBin {
	var bins []DefrostBin
	for _, b := range d.Bins {
		if b.usable() && len(bins) < mostBins {
			bins = append(bins, b)
		}
	}
	return bins
}

// measure is one of the panels: a value of a bin.
type measure struct {
	heading, unit string
	role          Role
	weight        float64 // share of the height
	least         float64 // least extent of the scale
	of            func(DefrostBin) float64
}

// measures returns the panels of which anything is known.
func (d DefrostsByOutdoor) measures() []measure {
	all := []measure{
		{"Defrosts", "per running hour", Defrosting, 3, 0.5, DefrostBin.perHour},
		{"Time in defrost", "% of running time", Defrosting, 3, 5, DefrostBin.sharePct},
		{"Hours run", "h in each bin", Idle, 2, 1, func(b DefrostBin) float64 { return b.RunHours }},
	}
	bins := d.usable()
	return slices.DeleteFunc(all, func(m measure) bool {
		return !slices.ContainsFunc(bins, func(b DefrostBin) bool { return drawable(m.of(b)) })
	})
}

// plots divides the extent: one plot for each measure, sharing the scale
// across.
func (d DefrostsByOutdoor) plots() []plot {
	bins, measures := d.usable(), d.measures()
	across, left, weight := noBounds, 0.0, 0.0
	plots := make([]plot, len(measures))
	size := d.Extent()
	for i, m := range measures {
		up := noBounds
		for _, b := range bins {
			across, up = across.with(b.FromC, b.ToC), up.with(m.of(b))
		}
		up = up.fromZero(m.least, 0.05)
		plots[i].scale = scale{up.low, up.high, 0, size.Height}
		left = max(left, plots[i].scale.numbersWidth()+8)
		weight += m.weight
	}
	keys := wrapKeys(d.legend(), size.Width-left)
	y := float64(len(keys)) * keyHeight
	free := size.Height - axisHeight - y - float64(len(plots))*(headingHeight+panelGap) + panelGap - 6
	for i, m := range measures {
		p := &plots[i]
		y += headingHeight + 3
		p.bounds, p.keys = across.scaled(5, 0), keys
		p.frame = Box{left, y, size.Width - left - rightMargin, free * m.weight / weight}
		p.scale.top, p.scale.bottom = p.frame.Y, p.frame.Bottom()
		y = p.frame.Bottom() + panelGap - 3
	}
	return plots
}

func (d DefrostsByOutdoor) legend() []key {
	for _, b := range d.usable() {
		if b.RunHours < fullHours {
			return []key{{name: fmt.Sprintf("A narrow bar stands on less than %d%sh", fullHours, nbsp), role: Defrosting, look: narrow}}
		}
	}
	return nil
}

// Draw puts the chart on a canvas at its extent.
func (d DefrostsByOutdoor) Draw(c Canvas) {
	plots, bins := d.plots(), d.usable()
	if len(plots) == 0 {
		size := d.Extent()
		say(c, Box{0, 0, size.Width, size.Height}, "No hours of running yet")
		return
	}
	drawKeys(c, plots[0].keys, Point{X: plots[0].frame.X})
	for i, m := range d.measures() {
		p := plots[i]
		drawHeading(c, Point{p.frame.X, p.frame.Y - 7}, m.heading, m.unit, p.frame.Right())
		drawRules(c, p.frame, p.scale)
		if i == len(plots)-1 {
			p.drawAcross(c, "Outdoor temperature °C")
		} else {
			values, _ := p.ticksAcross()
			p.drawUprights(c, values)
		}
		p.drawBins(c, m, bins)
	}
	top, bottom := plots[0].frame, plots[len(plots)-1].frame
	for _, b := range bins {
		left, right := plots[0].x(b.FromC), plots[0].x(b.ToC)
		c.Hint(Box{left, top.Y, right - left, bottom.Bottom() - top.Y}, b.describe())
	}
}

// drawBins draws a bar for each bin. A bin without a single defrost has a
// spot on the base line: it was looked at.
func (p plot) drawBins(c Canvas, m measure, bins []DefrostBin) {
	var bars []Box
	var none [][]Point
	for _, b := range bins {
		if v := m.of(b); drawable(v) {
			bar := p.bar(b, v)
			if m.role == Idle {
				bar = p.bar(DefrostBin{FromC: b.FromC, ToC: b.ToC, RunHours: fullHours}, v)
			}
			if v == 0 {
				none = append(none, []Point{{bar.X + bar.W/2, p.frame.Bottom() - 2}})
				continue
			}
			bars = append(bars, bar)
		}
	}
	c.Rect(m.role, bars...)
	c.Lines(Pen{Role: m.role, Width: 4}, none...)
	drawZero(c, p.frame, p.scale)
}

// bar returns the box of a value; its width tells on how much it stands.
func (p plot) bar(b DefrostBin, value float64) Box {
	left, right := p.x(b.FromC), p.x(b.ToC)
	width := max(1.5, 0.86*(right-left)*math.Min(1, b.RunHours/fullHours))
	return Box{(left+right)/2 - width/2, p.scale.y(value), width, p.scale.y(0) - p.scale.y(value)}
}

func (b DefrostBin) describe() string {
	text := fmt.Sprintf("%s to %s%s°C: %s in %s%sh of running", number(b.FromC, 0), number(b.ToC, 0), nbsp, counted(b.Defrosts, "defrost"), number(b.RunHours, 1), nbsp)
	if drawable(b.sharePct()) {
		text += fmt.Sprintf(", %s%s%% of the time", number(b.sharePct(), 1), nbsp)
	}
	return text
}

func (d DefrostsByOutdoor) describe() string {
	bins := d.usable()
	if len(bins) == 0 {
		return "No hours of running yet."
	}
	defrosts, hours, most := 0, 0.0, bins[0]
	across := noBounds
	for _, b := range bins {
		defrosts, hours = defrosts+b.Defrosts, hours+b.RunHours
		across = across.with(b.FromC, b.ToC)
		if b.RunHours >= fullHours && (most.RunHours < fullHours || b.perHour() > most.perHour()) {
			most = b
		}
	}
	return sentences(
		fmt.Sprintf("%s in %s%sh of running between %s and %s%s°C", counted(defrosts, "defrost"), number(hours, 0), nbsp, number(across.low, 0), number(across.high, 0), nbsp),
		"most often at "+most.describe(),
		leftOut(len(d.Bins)-len(bins), "bin"))
}
