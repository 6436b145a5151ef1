package picture

import (
	"math"

	"coldweek/dashboards/chart"
)

// Picture is a drawing that can be had in other sizes.
type Picture interface {
	Draw(c chart.Canvas)
	Extent() chart.Size
	Sized(size chart.Size) Picture
}

// Temperature is the daily mean temperature outdoors and of the rooms. What is not
// known is NaN.
type Temperature struct {
	OutdoorC, RoomC []float64 // as many
	Coldest         int       // the day, or -1
	// What the legend says.
	Outdoor, Room, ColdestWord, Unit string
	Format                           Format
	Size                             chart.Size
}

// Extent is the size of the picture.
func (t Temperature) Extent() chart.Size { return t.Size }

// Sized is the same picture in another size.
func (t Temperature) Sized(size chart.Size) Picture {
	t.Size = size
	return t
}

var (
	outdoorPen = chart.Pen{Role: chart.Outdoor, Width: 2}
	roomPen    = chart.Pen{Role: chart.Room, Width: 2, Dash: chart.LongDash}
)

// Draw puts the picture on a canvas.
func (t Temperature) Draw(c chart.Canvas) {
	keys := []key{{name: t.Unit}, {name: t.Outdoor, sample: lined(outdoorPen)}}
	low, high, rooms := math.Inf(1), math.Inf(-1), false
	for i := range t.OutdoorC {
		for _, v := range []float64{t.OutdoorC[i], t.RoomC[i]} {
			if !math.IsNaN(v) {
				low, high = math.Min(low, v), math.Max(high, v)
			}
		}
		rooms = rooms || !math.IsNaN(t.RoomC[i])
	}
	if rooms {
		keys = append(keys, key{name: t.Room, sample: lined(roomPen)})
	}
	if t.Coldest >= 0 {
		keys = append(keys, key{name: t.ColdestWord, sample: func(c chart.Canvas, b chart.Box) {
			c.Ring(outdoorPen, chart.Point{X: b.X + b.W/2, Y: b.Y + b.H/2}, 4)
		}})
	}
	if math.IsInf(low, 1) {
		low, high = 0, 20
	}
	f := newFrame(t.Size, len(t.OutdoorC), place(keys, t.Size.Width), low-0.5, high+0.5, t.Format)
	f.drawRules(c, t.Format)
	f.drawZero(c)
	c.Lines(roomPen, f.lines(t.RoomC)...)
	c.Lines(outdoorPen, f.lines(t.OutdoorC)...)
	if t.Coldest >= 0 {
		c.Ring(outdoorPen, chart.Point{X: f.middle(t.Coldest), Y: f.y(t.OutdoorC[t.Coldest])}, 4.5)
	}
	drawKeys(c, keys)
}

// lines join neighbouring days that are known.
func (f frame) lines(values []float64) [][]chart.Point {
	var lines [][]chart.Point
	open := false
	for day, v := range values {
		if math.IsNaN(v) {
			open = false
			continue
		}
		if !open {
			lines = append(lines, nil)
		}
		open = true
		last := len(lines) - 1
		lines[last] = append(lines[last], chart.Point{X: f.middle(day), Y: f.y(v)})
	}
	return lines
}
