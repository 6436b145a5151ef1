package chart

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// Series is the readings of one channel. UnixMS ascends and is as long as
// Value; a reading before and one after the range let the line reach its
// edges. Values are °C, W or l/h, as the Role tells; NaN and infinities are
// gaps.
type Series struct {
	Name     string // what the reader calls it: "Flow", "Kitchen"
	Role     Role
	UnixMS   []int64
	Value    []float64
	MaxGapMS int64 // two readings further apart are not joined; 0 joins all
	Hold     bool  // a value is valid until the next one, for at most MaxGapMS
}

// Kind is what the plant was doing.
type Kind string

// The kinds. Backup can be on during any of the others.
const (
	Off         Kind = "off"
	Circulating Kind = "circulating"
	Heating     Kind = "heating"
	HotWater    Kind = "hot water"
	Defrost     Kind = "defrost"
	BackupOn    Kind = "backup heater on"
)

// Span is a stretch of time in one state. Where no Span says what the plant
// was doing, it is not known.
type Span struct {
	FromMS, ToMS int64
	Kind         Kind
}

// sample is a reading on its way to the drawing.
type sample struct{ ms, value float64 }

// window is the range of a chart; readings are not expected after untilMS.
type window struct{ fromMS, toMS, untilMS float64 }

func newWindow(fromMS, toMS, nowMS int64) window {
	until := toMS
	if nowMS != 0 && nowMS < toMS {
		until = max(nowMS, fromMS)
	}
	return window{float64(fromMS), float64(toMS), float64(until)}
}

// runs cuts the series into stretches without a gap, clipped to the window.
// Each has a sample or more.
func (s Series) runs(w window) [][]sample {
	if len(s.UnixMS) != len(s.Value) {
		panic("chart: a series has more times than values, or fewer")
	}
	var all [][]sample
	var run []sample
	finish := func(holdUntilMS float64) {
		if s.Hold && len(run) > 0 {
			last := run[len(run)-1]
			until := min(last.ms+float64(s.MaxGapMS), holdUntilMS)
			if until > last.ms {
				run = append(run, sample{until, last.value})
			}
		}
		if clipped := clip(run, w, s.Hold); len(clipped) > 0 {
			all = append(all, clipped)
		}
		run = run[len(run):] // the next run lies behind this one
	}
	first, last := s.around(w)
	run = make([]sample, 0, last-first+1)
	for i := first; i < last; i++ {
		ms := float64(s.UnixMS[i])
		if v := s.Value[i]; math.IsNaN(v) || math.IsInf(v, 0) {
			finish(ms)
			continue
		}
		if len(run) > 0 && s.MaxGapMS > 0 && ms-run[len(run)-1].ms > float64(s.MaxGapMS) {
			finish(ms)
		}
		run = append(run, sample{ms, s.Value[i]})
	}
	finish(w.untilMS)
	return all
}

// around returns the indices of the readings within the window, one before
// and one after.
func (s Series) around(w window) (first, last int) {
	first = sort.Search(len(s.UnixMS), func(i int) bool { return float64(s.UnixMS[i]) >= w.fromMS })
	last = sort.Search(len(s.UnixMS), func(i int) bool { return float64(s.UnixMS[i]) > w.toMS })
	return max(first-1, 0), min(last+1, len(s.UnixMS))
}

// clip cuts a run to the window. A line that enters or leaves it is met
// where it crosses the edge.
func clip(run []sample, w window, hold bool) []sample {
	edge := func(a, b sample, ms float64) sample {
		if hold {
			return sample{ms, a.value}
		}
		return sample{ms, a.value + (b.value-a.value)*(ms-a.ms)/(b.ms-a.ms)}
	}
	if len(run) == 0 || run[0].ms >= w.fromMS && run[len(run)-1].ms <= w.toMS {
		return run
	}
	kept := make([]sample, 0, len(run))
	for i, p := range run {
		if i > 0 {
			before := run[i-1]
			if before.ms < w.fromMS && p.ms > w.fromMS {
				kept = append(kept, edge(before, p, w.fromMS))
			}
			if before.ms < w.toMS && p.ms > w.toMS {
				kept = append(kept, edge(before, p, w.toMS))
			}
		}
		if p.ms >= w.fromMS && p.ms <= w.toMS {
			kept = append(kept, p)
		}
	}
	return kept
}

// decimate keeps of a run what its drawing can show: of each column of pixels
// the least and the greatest value, in the order of time. The first and the
// last of a column are kept too where the run begins, ends or leaps over
// columns, because a line leaves from there.
func decimate(run []sample, column func(ms float64) int) []sample {
	kept := make([]sample, 0, min(len(run), 4096))
	for begin := 0; begin < len(run); {
		here := column(run[begin].ms)
		end := begin + 1
		for end < len(run) && column(run[end].ms) == here {
			end++
		}
		low, high := begin, begin
		for i := begin + 1; i < end; i++ {
			if run[i].value < run[low].value {
				low = i
			}
			if run[i].value > run[high].value {
				high = i
			}
		}
		picks := []int{low, high}
		if begin == 0 || column(run[begin-1].ms) < here-1 {
			picks = append(picks, begin)
		}
		if end == len(run) || column(run[end].ms) > here+1 {
			picks = append(picks, end-1)
		}
		slices.Sort(picks)
		for _, i := range slices.Compact(picks) {
			kept = append(kept, run[i])
		}
		begin = end
	}
	return kept
}

// bin is what a run did in one column of pixels, x in its middle.
type bin struct{ x, low, high, mean float64 }

// bins sums a run up by columns of pixels. The mean is over time; between
// samples the value goes straight, or is held.
func bins(run []sample, c clock, hold bool) []bin {
	first := c.column(run[0].ms)
	all := make([]bin, 0, c.column(run[len(run)-1].ms)-first+1)
	var weightMS float64
	add := func(column int, a, b, forMS float64) {
		if first+len(all) <= column {
			all = append(all, bin{x: float64(column) + 0.5, low: a, high: a, mean: a})
			weightMS = 0
		}
		last := &all[len(all)-1]
		last.low, last.high = min(last.low, a, b), max(last.high, a, b)
		if forMS > 0 {
			weightMS += forMS
			last.mean += ((a+b)/2 - last.mean) * forMS / weightMS
		}
	}
	add(first, run[0].value, run[0].value, 0)
	for i := 1; i < len(run); i++ {
		from, to := run[i-1], run[i]
		value := func(ms float64) float64 {
			if hold {
				return from.value
			}
			return from.value + (to.value-from.value)*(ms-from.ms)/(to.ms-from.ms)
		}
		for ms := from.ms; ms < to.ms; {
			column := first + len(all) - 1
			end := min(to.ms, c.fromMS+(float64(column)+1-c.left)*c.pixelMS())
			if end <= ms { // the sample begins a column
				column++
				end = min(to.ms, c.fromMS+(float64(column)+1-c.left)*c.pixelMS())
			}
			add(column, value(ms), value(end), end-ms)
			ms = end
		}
		add(c.column(to.ms), to.value, to.value, 0)
	}
	return all
}

// thin drops points that the line between their neighbours passes within
// tolerance, measured upright: the cone of slopes that pass all dropped points
// narrows until a point lies outside it. Points are in ascending x.
func thin(line []Point, tolerance float64) []Point {
	if len(line) < 3 {
		return line
	}
	kept := []Point{line[0]}
	low, high := math.Inf(-1), math.Inf(1)
	for i := 1; i < len(line); i++ {
		from, p := kept[len(kept)-1], line[i]
		dx := p.X - from.X
		slope := (p.Y - from.Y) / dx
		if dx <= 0 || slope < low || slope > high {
			if before := line[i-1]; before != from {
				kept = append(kept, before)
				from, dx = before, p.X-before.X
			}
			low, high = math.Inf(-1), math.Inf(1)
		}
		if dx <= 0 {
			kept = append(kept, p)
			continue
		}
		low = max(low, (p.Y-tolerance-from.Y)/dx)
		high = min(high, (p.Y+tolerance-from.Y)/dx)
	}
	if last := line[len(line)-1]; last != kept[len(kept)-1] {
		kept = append(kept, last)
	}
	return kept
}

// stairs turns a held line into level stretches and leaps. Leaps of less than
// tolerance are left out.
func stairs(line []Point, tolerance float64) []Point {
	if len(line) == 0 {
		return nil
	}
	kept := []Point{line[0]}
	for _, p := range line[1:] {
		level := kept[len(kept)-1].Y
		if math.Abs(p.Y-level) > tolerance {
			kept = append(kept, Point{p.X, level}, p)
		}
	}
	last := line[len(line)-1]
	return append(kept, Point{last.X, kept[len(kept)-1].Y})
}

// interval is a stretch of time.
type interval struct{ fromMS, toMS float64 }

// uncovered returns the stretches of at least shortestMS, up to the time
// readings are expected, that no run covers.
func (w window) uncovered(covered []interval, shortestMS float64) []interval {
	slices.SortFunc(covered, func(a, b interval) int { return cmp.Compare(a.fromMS, b.fromMS) })
	var holes []interval
	reached := w.fromMS
	for _, c := range append(covered, interval{w.untilMS, w.untilMS}) {
		if from := min(c.fromMS, w.untilMS); from-reached >= shortestMS {
			holes = append(holes, interval{reached, from})
		}
		reached = max(reached, c.toMS)
	}
	return holes
}
