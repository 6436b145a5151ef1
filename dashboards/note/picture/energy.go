package picture

import (
	"math"

	"coldweek/dashboards/chart"
)

// Energy is heat and electricity of the days of a month. What is not known is NaN.
type Energy struct {
	Days []EnergyDay
	// What the legend says.
	Space, Water, Electricity, Part, None string
	Unit                                  string // of the axis
	Format                                Format
	Size                                  chart.Size
}

// EnergyDay is one day; Part says that it was measured in part only.
type EnergyDay struct {
	SpaceKWh, WaterKWh, ElectricityKWh float64
	Part                               bool
}

func (d EnergyDay) known() bool { return !math.IsNaN(d.SpaceKWh) || !math.IsNaN(d.ElectricityKWh) }

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// Extent is the size of the picture.
func (e Energy) Extent() chart.Size { return e.Size }

// Sized is the same picture in another size.
func (e Energy) Sized(size chart.Size) Picture {
	e.Size = size
	return e
}

func (e Energy) keys() []key {
	keys := []key{{name: e.Unit}, {name: e.Space, sample: filled(chart.Heat)}, {name: e.Water, sample: filled(chart.Cylinder)}, {name: e.Electricity, sample: filled(chart.Power)}}
	part, none := false, false
	for _, d := range e.Days {
		part, none = part || d.known() && d.Part, none || !d.known()
	}
	if part {
		keys = append(keys, key{name: e.Part, sample: striped(chart.Heat)})
	}
	if none {
		keys = append(keys, key{name: e.None, sample: hatched})
	}
	return keys
}

// Draw puts the picture on a canvas.
func (e Energy) Draw(c chart.Canvas) {
	keys := e.keys()
	low, high := 0.0, 1.0
	for _, d := range e.Days {
		high = math.Max(high, math.Max(0, orZero(d.SpaceKWh))+math.Max(0, orZero(d.WaterKWh)))
		high = math.Max(high, orZero(d.ElectricityKWh))
		low = math.Min(low, math.Min(orZero(d.SpaceKWh), orZero(d.WaterKWh)))
	}
	f := newFrame(e.Size, len(e.Days), place(keys, e.Size.Width), low, high, e.Format)
	for i, d := range e.Days {
		if !d.known() {
			f.hatch(c, i)
		}
	}
	f.drawRules(c, e.Format)
	e.drawBars(c, f)
	f.drawZero(c)
	drawKeys(c, keys)
}

func (e Energy) drawBars(c chart.Canvas, f frame) {
	var space, water, electricity []chart.Box
	var part [][]chart.Point
	for i, d := range e.Days {
		if !d.known() {
			continue
		}
		slot, x := f.slot(), f.x(i)
		warm := chart.Box{X: x + 0.1*slot, W: 0.5 * slot}
		boxes := [3]chart.Box{f.bar(warm, 0, orZero(d.SpaceKWh)), f.bar(warm, math.Max(0, orZero(d.SpaceKWh)), orZero(d.WaterKWh)),
			f.bar(chart.Box{X: x + 0.64*slot, W: 0.26 * slot}, 0, orZero(d.ElectricityKWh))}
		space, water, electricity = append(space, boxes[0]), append(water, boxes[1]), append(electricity, boxes[2])
		if d.Part {
			for _, b := range boxes {
				part = append(part, chart.Hatching(b, apart)...)
			}
		}
	}
	c.Rect(chart.Heat, space...)
	c.Rect(chart.Cylinder, water...)
	c.Rect(chart.Power, electricity...)
	c.Lines(chart.Pen{Role: chart.Paper, Width: 2}, part...)
}

// bar gives a box the height of a value that stands on another.
func (f frame) bar(b chart.Box, on, v float64) chart.Box {
	from, to := f.y(math.Max(on, on+v)), f.y(math.Min(on, on+v))
	b.Y, b.H = from, to-from
	return b
}
