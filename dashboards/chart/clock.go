package chart

import (
	"math"
	"slices"
	"time"
)

// clock is the time axis: instants on pixels, read on the site's wall clock.
type clock struct {
	window
	left, right float64
	zone        *time.Location
}

func (c clock) x(ms float64) float64 {
	return c.left + (ms-c.fromMS)/(c.toMS-c.fromMS)*(c.right-c.left)
}

func (c clock) column(ms float64) int { return int(math.Floor(c.x(ms))) }

func (c clock) pixelMS() float64 { return (c.toMS - c.fromMS) / (c.right - c.left) }

// coarseFromMS is how long a column of pixels lasts from which on defrosts and
// cycles cannot be told apart.
const coarseFromMS = 8 * 60 * 1000

// coarse says whether a line through all readings would only fill the space
// between its extremes. Then the extremes are an area and the line is the mean.
func (c clock) coarse() bool { return c.pixelMS() > coarseFromMS }

func (c clock) at(ms float64) time.Time { return time.UnixMilli(int64(ms)).In(c.zone) }

func (c clock) xAt(t time.Time) float64 { return c.x(float64(t.UnixMilli())) }

// clockSteps are the distances of ticks below a day.
var clockSteps = []time.Duration{
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour,
}

// mark is a tick with its label; the label of a day stands in the day's middle.
type mark struct {
	x, labelX float64
	label     string
}

// ticks returns the marks of the axis, the finest whose labels, set in style,
// have room.
func (c clock) ticks(style TextStyle) []mark {
	room := c.hourRoom(style)
	for _, step := range clockSteps {
		if float64(step.Milliseconds())/c.pixelMS() >= room {
			return c.hourMarks(c.wallTicks(step), style)
		}
	}
	const dayMS = 24 * 60 * 60 * 1000
	if dayMS/c.pixelMS() >= TextWidth(style, "00")+0.6*style.Size {
		return c.dayMarks(style)
	}
	var marks []mark
	next := math.Inf(-1)
	for _, day := range c.days() {
		x, label := c.xAt(day), day.Format("2 Jan")
		half := TextWidth(style, label) / 2
		if day.Weekday() == time.Monday && x >= c.left && x-half > next {
			marks = append(marks, mark{x, x, label})
			next = x + half + style.Size
		}
	}
	return marks
}

// hourRoom is how far apart labels of the time of day are at least.
func (c clock) hourRoom(style TextStyle) float64 {
	return TextWidth(style, "00:00") + 1.2*style.Size
}

// wallTicks returns the instants within the window at which the wall clock
// shows a multiple of step since midnight. An hour the clock shows twice gives
// its ticks twice, one it leaps over gives none.
func (c clock) wallTicks(step time.Duration) []time.Time {
	// Offsets from UTC in use today are whole quarters of an hour.
	grid := min(step, 15*time.Minute)
	var ticks []time.Time
	for t := c.at(c.fromMS + float64(grid.Milliseconds()) - 1).Truncate(grid); float64(t.UnixMilli()) <= c.toMS; t = t.Add(grid) {
		wall := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
		if wall%step == 0 {
			ticks = append(ticks, t)
		}
	}
	return ticks
}

// hourMarks labels ticks with the time of day. A full hour shown twice has the
// zone's letters behind it if there is room.
func (c clock) hourMarks(ticks []time.Time, style TextStyle) []mark {
	marks := make([]mark, 0, len(ticks))
	next := math.Inf(-1)
	for i, t := range ticks {
		m := mark{x: c.xAt(t), label: t.Format("15:04")}
		m.labelX = m.x
		if isRepeatedHour(t) && c.hasRoomForZone(ticks, i, style) {
			m.label = t.Format(zoned)
		}
		half := TextWidth(style, m.label) / 2
		if m.x-half < next {
			m.label = ""
		} else {
			next = m.x + half + style.Size/4
		}
		marks = append(marks, m)
	}
	return marks
}

const zoned = "15:04 MST"

// hasRoomForZone says whether the zone's letters fit behind a repeated hour.
// Both its showings have them, or none has.
func (c clock) hasRoomForZone(ticks []time.Time, i int, style TextStyle) bool {
	x, half, shortHalf := c.xAt(ticks[i]), TextWidth(style, ticks[i].Format(zoned))/2, TextWidth(style, "00:00")/2
	if x-half < c.left-shortHalf || x+half > c.right+shortHalf {
		return false
	}
	for _, beside := range []int{i - 1, i + 1} {
		if beside < 0 || beside >= len(ticks) {
			continue
		}
		need := half + shortHalf
		if isRepeatedHour(ticks[beside]) {
			need = 2 * half
		}
		if math.Abs(c.xAt(ticks[beside])-x) < need+style.Size/4 {
			return false
		}
	}
	return true
}

func isRepeatedHour(t time.Time) bool { return t.Minute() == 0 && shownTwice(t) }

// shownTwice says whether the wall clock shows the same time at another
// instant, because the clocks go back.
func shownTwice(t time.Time) bool {
	start, end := t.ZoneBounds()
	_, offset := t.Zone()
	if !end.IsZero() {
		_, after := end.Zone()
		if back := time.Duration(offset-after) * time.Second; back > 0 && !t.Before(end.Add(-back)) {
			return true
		}
	}
	if !start.IsZero() {
		_, before := start.Add(-time.Second).In(t.Location()).Zone()
		if back := time.Duration(before-offset) * time.Second; back > 0 && t.Before(start.Add(back)) {
			return true
		}
	}
	return false
}

// days returns the beginnings of all local days that touch the window.
func (c clock) days() []time.Time {
	first := c.at(c.fromMS)
	var days []time.Time
	for i := 0; ; i++ {
		day := startOfDay(first.Year(), first.Month(), first.Day()+i, c.zone)
		if float64(day.UnixMilli()) >= c.toMS {
			return days
		}
		days = append(days, day)
	}
}

// dayOf returns the first instant of the local day that t is in.
func dayOf(t time.Time) time.Time {
	return startOfDay(t.Year(), t.Month(), t.Day(), t.Location())
}

// startOfDay returns the first instant of a local day. In zones whose clocks
// go forward at midnight that is not 00:00.
func startOfDay(year int, month time.Month, day int, zone *time.Location) time.Time {
	noon := time.Date(year, month, day, 12, 0, 0, 0, zone)
	t := time.Date(year, month, day, 0, 0, 0, 0, zone)
	if t.Day() != noon.Day() {
		_, t = t.ZoneBounds()
	}
	return t
}

// dayMarks has a tick at the beginning of each day and its name between ticks,
// in the longest form that fits all days.
func (c clock) dayMarks(style TextStyle) []mark {
	const dayMS = 24 * 60 * 60 * 1000
	room := dayMS/c.pixelMS() - 0.6*style.Size
	layout := "2"
	for _, longer := range []string{"Mon 2", "Mon 2 Jan"} {
		widest := time.Date(2026, time.May, 27, 0, 0, 0, 0, time.UTC) // a Wednesday
		if TextWidth(style, widest.Format(longer)) <= room {
			layout = longer
		}
	}
	return c.between(c.days(), style, nil, layout)
}

// extent is a stretch of the axis.
type extent struct{ from, to float64 }

// without returns the longest piece of e that the taken ones leave.
func (e extent) without(taken []extent) extent {
	for _, t := range taken {
		if t.from >= e.to || t.to <= e.from {
			continue
		}
		if t.from-e.from > e.to-t.to {
			e.to = t.from
		} else {
			e.from = t.to
		}
	}
	return e
}

// between puts a label in the middle of what is free of each stretch from one
// beginning to the next, in the first of the layouts that fits.
func (c clock) between(beginnings []time.Time, style TextStyle, taken []extent, layouts ...string) []mark {
	marks := make([]mark, 0, len(beginnings))
	for i, t := range beginnings {
		m := mark{x: c.xAt(t)}
		from, to := max(m.x, c.left), c.right
		if i+1 < len(beginnings) {
			to = c.xAt(beginnings[i+1])
		}
		free := extent{from, to}.without(taken)
		from, to = free.from, free.to
		m.labelX = (from + to) / 2
		for _, layout := range layouts {
			if label := t.Format(layout); TextWidth(style, label) <= to-from {
				m.label = label
				break
			}
		}
		marks = append(marks, m)
	}
	return marks
}

// changeSeenMS is the longest window in which an hour more or less is seen.
const changeSeenMS = 15 * 24 * 3600e3

// change is an instant at which the clocks go forward or back.
type change struct {
	x    float64
	note string
}

// changes returns the changes of the wall clock within the window, unless it is
// so long that they say nothing.
func (c clock) changes() []change {
	var all []change
	if c.toMS-c.fromMS > changeSeenMS {
		return nil
	}
	for t := c.at(c.fromMS); ; {
		_, end := t.ZoneBounds()
		if end.IsZero() || float64(end.UnixMilli()) >= c.toMS {
			return all
		}
		_, before := end.Add(-time.Second).In(c.zone).Zone()
		_, after := end.Zone()
		switch {
		case after < before:
			all = append(all, change{c.xAt(end), end.Format("15:04") + " twice"})
		case after > before:
			leapt := end.In(time.FixedZone("", before))
			all = append(all, change{c.xAt(end), leapt.Format("15:04") + " skipped"})
		}
		t = end
	}
}

// months returns the beginnings of all local months that touch the window.
func (c clock) months() []time.Time {
	return slices.DeleteFunc(c.days(), func(t time.Time) bool {
		return t.Day() != 1 && float64(t.UnixMilli()) > c.fromMS
	})
}
