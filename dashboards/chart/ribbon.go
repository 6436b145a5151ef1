package chart

import (
	"cmp"
	"fmt"
	"slices"
)

// state is how a kind of span looks on the ribbon. Height tells what colour
// tells: the busier, the taller.
type state struct {
	kind   Kind
	name   string
	role   Role
	height float64 // share of the ribbon
	wash   Role    // band behind the panels, "" for none
}

// states are in the order in which they are drawn over each other.
var states = []state{
	{Off, "Off", Idle, 0.12, ""},
	{Circulating, "Circulating", Idle, 0.4, ""},
	{Heating, "Heating", Heat, 0.8, ""},
	{HotWater, "Hot water", Cylinder, 1, WaterWash},
	{Defrost, "Defrost", Defrosting, 1, FrostWash},
	{BackupOn, "Backup heater", Backup, 1, ""},
}

// Heights of the ribbon's parts.
const (
	ribbonHeight = 15.0
	backupHeight = 5.0
)

// worn is a state that occurs, with its spans clipped to the window.
type worn struct {
	state
	spans   []Span
	extents []extent
}

// ribbon is the strip that says what the plant was doing.
type ribbon struct {
	states []worn
	known  []interval
	keys   [][]key
	left   float64
}

// newRibbon lays the spans out. missing says whether panels have grounds
// without data, which the legend then explains.
func newRibbon(spans []Span, c clock, width float64, missing bool) ribbon {
	r := ribbon{left: c.left}
	for _, s := range states {
		w := worn{state: s}
		for _, span := range spans {
			span.FromMS, span.ToMS = max(span.FromMS, int64(c.fromMS)), min(span.ToMS, int64(c.toMS))
			if span.Kind != s.kind || span.ToMS <= span.FromMS {
				continue
			}
			w.spans = append(w.spans, span)
			if s.kind != BackupOn {
				r.known = append(r.known, interval{float64(span.FromMS), float64(span.ToMS)})
			}
		}
		if len(w.spans) == 0 {
			continue
		}
		slices.SortFunc(w.spans, func(a, b Span) int { return cmp.Compare(a.FromMS, b.FromMS) })
		w.extents = onPixels(w.spans, c)
		r.states = append(r.states, w)
	}
	r.keys = wrapKeys(r.legend(c, missing), width)
	return r
}

// onPixels returns where spans lie, each at least a pixel wide; those that
// touch become one.
func onPixels(spans []Span, c clock) []extent {
	var all []extent
	for _, s := range spans {
		e := extent{c.x(float64(s.FromMS)), c.x(float64(s.ToMS))}
		if short := 1 - (e.to - e.from); short > 0 {
			e.from, e.to = max(c.left, e.from-short/2), min(c.right, e.to+short/2)
		}
		if last := len(all) - 1; last >= 0 && e.from <= all[last].to {
			all[last].to = max(all[last].to, e.to)
			continue
		}
		all = append(all, e)
	}
	return all
}

func (r ribbon) legend(c clock, missing bool) []key {
	var keys []key
	for _, s := range r.states {
		k := key{name: s.name, role: s.role, height: s.height}
		if c.coarse() {
			k.height = 1
		}
		if s.kind != Off || !c.coarse() {
			keys = append(keys, k)
		}
	}
	if missing || len(r.states) > 0 && len(r.holes(c)) > 0 {
		keys = append(keys, key{name: "No data", look: hatched})
	}
	if len(r.states) > 0 && c.coarse() {
		keys = append(keys, key{name: "Height: share of time", look: bare})
	}
	return keys
}

func (r ribbon) holes(c clock) []interval { return c.uncovered(slices.Clone(r.known), 2*c.pixelMS()) }

func (r ribbon) hasBackup() bool {
	return len(r.states) > 0 && r.states[len(r.states)-1].kind == BackupOn
}

func (r ribbon) height() float64 {
	h := r.top()
	if len(r.states) > 0 {
		h += ribbonHeight + 6
	}
	if r.hasBackup() {
		h += backupHeight + 2
	}
	return h
}

// top returns where the strip begins, below the legend.
func (r ribbon) top() float64 { return float64(len(r.keys))*keyHeight + 4 }

// drawBands carries runs of hot water and defrosts from the strip down through
// all panels.
func (r ribbon) drawBands(c Canvas, clk clock, bottom float64) {
	top := r.top() + ribbonHeight
	for _, s := range r.states {
		if s.wash != "" && !clk.coarse() {
			c.Rect(s.wash, s.boxes(top, bottom-top)...)
		}
	}
}

func (r ribbon) draw(c Canvas, clk clock) {
	drawKeys(c, r.keys, Point{X: r.left})
	if len(r.states) == 0 {
		return
	}
	top := r.top()
	base := top + ribbonHeight
	for _, hole := range r.holes(clk) {
		hatch(c, Box{clk.x(hole.fromMS), top, clk.x(hole.toMS) - clk.x(hole.fromMS), ribbonHeight})
	}
	if clk.coarse() {
		r.drawShares(c, clk, base)
	} else {
		r.drawSpans(c, base)
	}
	for _, s := range r.states {
		if s.kind == BackupOn {
			c.Rect(s.role, s.boxes(base+2, backupHeight)...)
		}
	}
	r.drawHints(c, clk, Box{Y: top, H: ribbonHeight})
}

// drawSpans draws each span where it lies.
func (r ribbon) drawSpans(c Canvas, base float64) {
	for _, s := range r.states {
		if s.kind != BackupOn {
			height := ribbonHeight * s.height
			c.Rect(s.role, s.boxes(base-height, height)...)
		}
	}
}

func (w worn) boxes(y, height float64) []Box {
	boxes := make([]Box, len(w.extents))
	for i, e := range w.extents {
		boxes[i] = Box{e.from, y, e.to - e.from, height}
	}
	return boxes
}

// shareWidth is the width of a column in which shares of time are stacked.
const shareWidth = 4.0

// shareOrder is how shares are stacked, from the bottom. That of off is left
// empty.
var shareOrder = []Kind{Heating, HotWater, Defrost, Circulating}

// drawShares stacks, column by column, the shares of time in each state.
func (r ribbon) drawShares(c Canvas, clk clock, base float64) {
	filled := make([]float64, int((clk.right-clk.left)/shareWidth)+1)
	for _, kind := range shareOrder {
		i := slices.IndexFunc(r.states, func(s worn) bool { return s.kind == kind })
		if i < 0 {
			continue
		}
		s := r.states[i]
		var boxes []Box
		for i, share := range s.shares(clk, len(filled)) {
			x := clk.left + float64(i)*shareWidth
			height := ribbonHeight * share
			if height >= 0.1 {
				boxes = append(boxes, Box{x, base - filled[i] - height, min(shareWidth, clk.right-x), height})
			}
			filled[i] += height
		}
		c.Rect(s.role, boxes...)
	}
}

// shares returns which share of each of count columns the spans take.
func (w worn) shares(c clock, count int) []float64 {
	shares := make([]float64, count)
	for _, span := range w.spans {
		from := (c.x(float64(span.FromMS)) - c.left) / shareWidth
		to := (c.x(float64(span.ToMS)) - c.left) / shareWidth
		for i := max(0, int(from)); i < count && float64(i) < to; i++ {
			shares[i] += min(to, float64(i+1)) - max(from, float64(i))
		}
	}
	return shares
}

// drawHints names the spans that have bands, with their times.
func (r ribbon) drawHints(c Canvas, clk clock, lane Box) {
	for _, s := range r.states {
		if s.wash == "" || clk.coarse() {
			continue
		}
		for _, span := range s.spans {
			from, to := float64(span.FromMS), float64(span.ToMS)
			over := Box{clk.x(from), lane.Y, max(3, clk.x(to)-clk.x(from)), lane.H}
			c.Hint(over, fmt.Sprintf("%s %s\u2013%s", s.name, clk.at(from).Format("15:04"), clk.at(to).Format("15:04")))
		}
	}
}

// describe counts and adds up the spans.
func (r ribbon) describe() []string {
	var said []string
	for _, s := range r.states {
		totalMS := 0.0
		for _, span := range s.spans {
			totalMS += float64(span.ToMS - span.FromMS)
		}
		text := fmt.Sprintf("%s for %s", s.kind, duration(totalMS))
		if s.wash != "" {
			text = fmt.Sprintf("%s %d times, %s", s.kind, len(s.spans), duration(totalMS))
		}
		said = append(said, text)
	}
	return said
}
