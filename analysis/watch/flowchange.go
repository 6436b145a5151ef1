package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/analysis/flowrate"
)

const (
	// A step is at least leastStepLog of ln flow below what was usual, and so many
	// of its deviations.
	leastStepLog, stepDeviations = 0.10, 4.0
	// stepOpenS of running with the new flow open it, three slots or so; stepCloseS
	// with the old close it.
	stepOpenS, stepCloseS = 14 * 60, 3600
	// usualS is how long the usual flow remembers, in running time; it must have
	// seen learnedS. latestS is what the flow is now.
	usualS, learnedS, latestS = 24 * 3600, 6 * 3600, 3600
	// adoptedAfter so long the new flow is the usual one.
	adoptedAfter = 21 * day
)

// flowPoint is a piece of settled heating with its flow by what is usual at that
// output.
type flowPoint struct {
	from, to  time.Time
	s         float64
	log, rate float64 // ln of the level; l/h
}

// flowPoints are days, and slots as far as there are any.
func (c *Case) flowPoints() []flowPoint {
	r := c.FlowRate()
	var points []flowPoint
	for _, d := range r.Days {
		if !d.To.After(c.SlotsFrom()) && d.Level > 0 {
			points = append(points, flowPoint{from: d.From, to: d.To, s: d.HeatingS, log: math.Log(d.Level), rate: d.MedianLPH})
		}
	}
	for i := range c.Slots {
		s := &c.Slots[i]
		lph, ok := settledFlow(s)
		if !ok || s.Settled.Took.S == 0 {
			continue
		}
		if level, ok := r.LevelOf(lph, s.Settled.Took.HeatJ/s.Settled.Took.S); ok && level > 0 {
			points = append(points, flowPoint{from: s.From, to: s.To(), s: s.Settled.FlowRate.S, log: math.Log(level), rate: lph})
		}
	}
	return points
}

// usualFlow is a mean that forgets.
type usualFlow struct{ s, log, deviation, rate float64 }

func (u *usualFlow) add(p flowPoint, memoryS float64) {
	if u.s == 0 {
		u.log, u.rate = p.log, p.rate
	}
	share := max(1-math.Exp(-p.s/memoryS), p.s/(u.s+p.s)) // a plain mean at first
	u.deviation += share * (math.Abs(p.log-u.log) - u.deviation)
	u.log += share * (p.log - u.log)
	u.rate += share * (p.rate - u.rate)
	u.s += p.s
}

// step is a change of flow as it is being watched.
type step struct {
	Episode
	before, after, latest usualFlow
	landed                float64 // its ln when it was told
}

// goesOn says whether the flow fell on, by half as much again or more.
func (s *step) goesOn() bool { return s.before.log-s.latest.log > 1.5*(s.before.log-s.landed) }

// flowSteps finds where the flow fell at once and stayed lower.
func (c *Case) flowSteps() []step {
	if c.steps != nil {
		return *c.steps
	}
	w := stepWatch{}
	for _, p := range c.flowPoints() {
		w.add(p)
	}
	c.steps = &w.found
	return w.found
}

// stepWatch follows the flow from point to point.
type stepWatch struct {
	usual  usualFlow
	low    usualFlow // while it is low
	since  time.Time // of the low flow
	until  time.Time // of it so far
	weighS float64   // of running that speaks for a change, of open or closed
	open   bool
	found  []step
}

func (w *stepWatch) add(p flowPoint) {
	limit := max(leastStepLog, stepDeviations*w.usual.deviation)
	fall := w.usual.log - p.log
	switch {
	case w.open:
		w.follow(p, fall, limit)
	case w.usual.s < learnedS || fall < limit/2:
		w.usual.add(p, usualS)
		if w.weighS = max(0, w.weighS-p.s); w.weighS == 0 {
			w.low = usualFlow{}
		}
	case fall >= limit:
		if w.weighS == 0 {
			w.since = p.from
		}
		w.low.add(p, usualS)
		w.until = p.to
		if w.weighS += p.s; w.weighS >= stepOpenS {
			w.open, w.weighS = true, 0
			w.found = append(w.found, step{Episode: Episode{Since: w.since}, before: w.usual, after: w.low, latest: w.low, landed: p.log})
		}
	default:
		w.usual.add(p, usualS)
	}
}

// follow watches a step for its end.
func (w *stepWatch) follow(p flowPoint, fall, limit float64) {
	s := &w.found[len(w.found)-1]
	switch {
	case p.from.Sub(s.Since) > adoptedAfter:
		s.Until = s.Since.Add(adoptedAfter)
		*w = stepWatch{usual: w.low, found: w.found}
		w.usual.add(p, usualS)
		return
	case fall < limit/2:
		if w.weighS += p.s; w.weighS >= stepCloseS {
			s.Until = w.until
			*w = stepWatch{usual: w.usual, found: w.found}
			w.usual.add(p, usualS)
		}
		return
	}
	w.weighS = max(0, w.weighS-p.s)
	w.until = p.to
	w.low.add(p, usualS)
	s.after = w.low
	s.latest.add(p, latestS)
}

func flowStepped(c *Case) []Finding {
	var found []Finding
	for _, s := range c.flowSteps() {
		after, words := s.after, "The flow fell by %.0f %% at once, from %.0f to %.0f l/h"
		if s.goesOn() {
			after, words = s.latest, "The flow falls fast: by %.0f %% so far, from %.0f to %.0f l/h"
		}
		pct := 100 * (math.Exp(after.log-s.before.log) - 1)
		f := Finding{
			Kind: "flow_stepped", Severity: Attention, Since: s.Since, Until: s.Until,
			Title: fmt.Sprintf(words, -pct, s.before.rate, after.rate),
			Evidence: []Figure{
				{"change_pct", pct, "%", 0}, {"flow_rate_lph", after.rate, "l/h", 0}, {"flow_rate_before_lph", s.before.rate, "l/h", 0},
			},
			Causes:  []string{"a circuit or a valve that was closed, or a thermostat head or actuator that closed it", "a pump that was set lower, or has failed in part", "air in the pipework", "debris that came loose and blocks the strainer"},
			Next:    []string{"ask what was done to the plant at that time", "see that all circuits and valves are open", "read the pump's setting and its fault memory", "look at the strainer and the magnetic filter"},
			Caution: flowCaution,
		}
		if s.goesOn() {
			f.Causes = []string{"a strainer or magnetic filter that blocks, as debris of the works does in the first days", "air that gathers", "a pump that fails", "a valve that closes slowly"}
			f.Next = []string{"clean the strainer and the magnetic filter, and note what was in them", "look at the pressure and bleed the pipework", "read the pump's setting and its fault memory", "see that all circuits and valves are open"}
		}
		found = append(found, c.withFlowLimits(f))
	}
	return found
}

const flowCaution = "Strainers and valves are under pressure and hot; isolate and let down before opening, as local rules and the maker's instructions say."

// withFlowLimits adds what the record asks for.
func (c *Case) withFlowLimits(f Finding) Finding {
	p := &c.Limits.Plant
	if p.CommissionedLPH != nil {
		f.Evidence = append(f.Evidence, Figure{"commissioned_flow_lph", *p.CommissionedLPH, "l/h", 0})
	}
	if p.MinimumFlowLPH != nil {
		f.Evidence = append(f.Evidence, Figure{"minimum_flow_lph", *p.MinimumFlowLPH, "l/h", 0})
	}
	return f
}

const (
	// A slow fall is told from leastFallLog on, and so many of the days' own
	// deviations; half of it is none.
	leastFallLog, fallDeviations = 0.045, 4.0
	// The usual flow is the median of up to baseDays that ended skipDays before, at
	// least leastBaseDays.
	baseDays, skipDays, leastBaseDays = 10, 2, 3
	// turnedLog below the usual, the fall had begun.
	turnedLog = 0.012
	// rollingS of settled heating in the last 24 hours make a day of their own.
	rollingS = 3 * 3600
)

// flowDay is a day's flow.
type flowDay struct {
	from, to  time.Time
	log, rate float64
}

// flowDays are the days that are over, and the last 24 hours.
func (c *Case) flowDays() []flowDay {
	r := c.FlowRate()
	whole := c.WholeDays()
	var days []flowDay
	for _, d := range r.Days {
		if len(whole) > 0 && !d.To.After(whole[len(whole)-1].To) && d.Level > 0 {
			days = append(days, flowDay{d.From, d.To, math.Log(d.Level), d.MedianLPH})
		}
	}
	if last, ok := c.lastDay(r); ok && (len(days) == 0 || last.to.After(days[len(days)-1].to)) {
		days = append(days, last)
	}
	return days
}

// lastDay is the flow of the last 24 hours.
func (c *Case) lastDay(r *flowrate.Result) (flowDay, bool) {
	if len(c.Slots) == 0 {
		return flowDay{}, false
	}
	to := c.Slots[len(c.Slots)-1].To()
	d := flowDay{from: to.Add(-day), to: to}
	totalS := 0.0
	for i := len(c.Slots) - 1; i >= 0 && c.Slots[i].From.After(d.from); i-- {
		s := &c.Slots[i]
		lph, ok := settledFlow(s)
		if !ok || s.Settled.Took.S == 0 {
			continue
		}
		if level, ok := r.LevelOf(lph, s.Settled.Took.HeatJ/s.Settled.Took.S); ok && level > 0 {
			seconds := s.Settled.FlowRate.S
			totalS += seconds
			d.log, d.rate = d.log+seconds*math.Log(level), d.rate+seconds*lph
		}
	}
	d.log, d.rate = d.log/totalS, d.rate/totalS
	return d, totalS >= rollingS
}

// flowFalling tells of a flow that falls from day to day.
func flowFalling(c *Case) []Finding {
	days, steps := c.flowDays(), c.flowSteps()
	var found []Finding
	var open *fall
	for k := range days {
		switch {
		case duringStep(steps, days[k]):
			continue
		case open == nil:
			open = fallAt(days[:k+1], steps)
		case days[k].from.Sub(open.since) > adoptedAfter:
			found = append(found, c.fallingFinding(open, open.since.Add(adoptedAfter)))
			open = nil
		case open.base-days[k].log < open.limit/2:
			found = append(found, c.fallingFinding(open, days[k].from))
			open = nil
		default:
			open.last = days[k]
		}
	}
	if open != nil {
		found = append(found, c.fallingFinding(open, time.Time{}))
	}
	return found
}

// duringStep says whether a step explains a day's flow, or that of the days
// behind it.
func duringStep(steps []step, d flowDay) bool {
	return slices.ContainsFunc(steps, func(s step) bool {
		return d.to.After(s.Since) && (!s.Ended() || d.from.Before(s.Until))
	})
}

// fall is a slow fall as it is being watched.
type fall struct {
	since       time.Time
	base, limit float64
	baseRate    float64
	last        flowDay
}

// fallAt says whether the last of some days lies below the usual.
func fallAt(days []flowDay, steps []step) *fall {
	last := days[len(days)-1]
	var base, rates, moves []float64
	for i, d := range days {
		if days[i].to.After(last.to.Add(-(skipDays+1)*day+time.Hour)) || len(days)-i > baseDays+skipDays+1 || duringStep(steps, d) {
			continue
		}
		if len(base) > 0 {
			moves = append(moves, math.Abs(d.log-base[len(base)-1]))
		}
		base, rates = append(base, d.log), append(rates, d.rate)
	}
	if len(base) < leastBaseDays {
		return nil
	}
	f := fall{base: median(base), baseRate: median(rates), last: last}
	f.limit = max(leastFallLog, fallDeviations*median(moves))
	if f.base-last.log < f.limit {
		return nil
	}
	f.since = last.from
	for i := len(days) - 1; i >= 0 && f.base-days[i].log > turnedLog; i-- {
		f.since = days[i].from
	}
	return &f
}

func (c *Case) fallingFinding(f *fall, until time.Time) Finding {
	share := 1 - math.Exp(f.last.log-f.base)
	days := max(f.last.to.Sub(f.since).Hours()/24-0.5, 0.5)
	perWeek := -100 * share / days * 7
	found := Finding{
		Kind: "flow_falling", Severity: Attention, Since: f.since, Until: until,
		Title: fmt.Sprintf("The flow falls slowly: %.0f %% in %s, now %.0f l/h", 100*share, spell(f.last.to.Sub(f.since)), f.last.rate),
		Evidence: []Figure{
			{"change_pct_per_week", perWeek, "%/week", 1}, {"change_pct", -100 * share, "%", 1}, {"flow_rate_lph", f.last.rate, "l/h", 0},
		},
		Causes:  []string{"a strainer or magnetic filter that slowly blocks", "air that gathers", "sludge in the pipework or the heat exchanger", "a flow meter that gets dirty"},
		Next:    []string{"clean the strainer and the magnetic filter, and note what was in them", "look at the pressure and bleed the pipework", "look at the water's quality"},
		Caution: flowCaution,
	}
	if minimum := c.Limits.Plant.MinimumFlowLPH; minimum != nil && f.last.rate > *minimum {
		left := (f.last.rate - *minimum) / (f.last.rate * share / days)
		found.Evidence = append(found.Evidence, Figure{"days_to_minimum", left, "d", 0})
	}
	return c.withFlowLimits(found)
}
