package chart

import "fmt"

// Sparkline is one series as a line without axes, for a row of a table.
type Sparkline struct {
	ID           string // unique on the page
	Title        string // what the line is, for who cannot see it
	FromMS, ToMS int64
	NowMS        int64 // readings are not expected after it; 0 when the range is past
	Series       Series
	Size         Size // about 120 by 28
}

// sparkMargin leaves room for the dot at the line's end.
const sparkMargin = 3.0

// SVG returns the line as a picture of its own.
func (l Sparkline) SVG() []byte {
	p, _ := l.layout()
	description := p.describe(p.traces[0])
	if last, any := p.traces[0].last(); any {
		description += fmt.Sprintf("; last %s%s%s", number(last.value*p.factor, p.digits), nbsp, p.unit)
	}
	s := newSVG(l.Size, caption{l.ID, l.Title, description + "."})
	l.Draw(s)
	return s.bytes()
}

// Extent returns the size at which the line is drawn.
func (l Sparkline) Extent() Size { return l.Size }

// Draw puts the line on a canvas at its size.
func (l Sparkline) Draw(c Canvas) {
	p, clk := l.layout()
	for _, hole := range p.holes(clk) {
		from, to := clk.x(hole.fromMS), clk.x(hole.toMS)
		hatch(c, Box{from, 0, to - from, l.Size.Height})
	}
	t := p.traces[0]
	c.Lines(Pen{Role: t.Role, Width: 1.3, Dash: t.dash}, t.lines(clk, p.factor, p.scale)...)
	p.drawEnd(c, clk, t)
}

func (l Sparkline) layout() (panel, clock) {
	w := newWindow(l.FromMS, max(l.ToMS, l.FromMS+1), l.NowMS)
	clk := clock{w, sparkMargin, max(l.Size.Width-sparkMargin, sparkMargin+1), nil}
	p := panel{topic: topicOf(l.Series.Role), window: w, narrow: true, traces: []trace{newTrace(l.Series, w, 0)}}
	p.frame = Box{0, sparkMargin, l.Size.Width, max(l.Size.Height-2*sparkMargin, 1)}
	p.setScale()
	return p, clk
}
