package review

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/curve"
	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/analysis/flowrate"
	"coldweek/analysis/heatloss"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// Week is what some days of a plant came to: what the analyses made of them, what
// was found, and what the record asks for. Nil is not known.
type Week struct {
	Site, Name string
	From, To   time.Time // whole local days, in the site's zone
	Chosen     string    // how the days came to be these
	Coverage   float64   // of the time with usable heat and power, 0 to 1
	Enough     float64   // coverage that makes a time usable
	Channels   []ingest.Channel

	Limits            watch.Limits
	DesignDifferenceK *float64
	SetAtDesignC      *float64 // flow, by the set curve at the design outdoor temperature
	HasBackup         bool     // the record knows of a backup heater

	Days   []siteday.Day
	Sums   *siteday.Sums
	Flow   *flowrate.Result
	Frost  defrost.Report
	Runs   cycling.Report
	Curve  *curve.Fit
	Rooms  comfort.Report
	Loss   *heatloss.Result
	Sizing capacity.Report
	// FullW is the greatest output at an outdoor temperature, false where it is not
	// known.
	FullW func(outdoorC float64) (robust.Estimate, bool)

	Findings []watch.Finding // that lasted at any time of the days, as they were at the end
	Ruled    bool            // the rules were run over the days

	night *Night // looked for once, by Of
}

// State is what is thought of a point.
type State string

// The states.
const (
	Good     State = "good"
	Look     State = "look_at_this"
	NotKnown State = "not_known_yet"
)

// Basis is what a limit stands on.
type Basis string

// The bases.
const (
	ByMaker    Basis = "maker"           // the maker's limit, in the site record
	ByDesign   Basis = "design"          // the design, in the site record
	BySetting  Basis = "setting"         // what was set or promised, in the site record
	Published  Basis = "published"       // a standard or another published source
	ByPractice Basis = "common_practice" // no source
)

// Limit is what a number is held against.
type Limit struct {
	Text   string   `json:"text"`   // in words, with its unit; "" where none is known
	Low    *float64 `json:"low"`    // the number is to be at least that
	High   *float64 `json:"high"`   // and at most that
	Basis  *Basis   `json:"basis"`  // null where no limit is known
	Source string   `json:"source"` // of the basis, for people
}

// Point is one point of the hand-over.
type Point struct {
	ID       string   `json:"id"`
	Name     string   `json:"name"`
	State    State    `json:"state"`
	Value    *float64 `json:"value"` // null where not known
	Low      *float64 `json:"low"`   // 95 % interval, null where there is none
	High     *float64 `json:"high"`
	Unit     string   `json:"unit"`
	Decimals int      `json:"decimals"` // worth showing
	Limit    Limit    `json:"limit"`
	Says     string   `json:"says"`    // one plain sentence
	Next     []string `json:"next"`    // what to do, in order; empty where it is good
	Caution  string   `json:"caution"` // where the work can hurt someone
	Findings []string `json:"findings"`
}

// Cold is how cold it got; null where the outdoor temperature is not known.
type Cold struct {
	MeanC   *float64 `json:"mean_c"`
	DayC    *float64 `json:"coldest_day_c"` // mean of the coldest day
	Day     *string  `json:"coldest_day"`
	HourC   *float64 `json:"coldest_hour_c"`
	DesignC *float64 `json:"design_c"`
}

// Counts are how many points are in each state.
type Counts struct {
	Good     int `json:"good"`
	Look     int `json:"look_at_this"`
	NotKnown int `json:"not_known_yet"`
}

// Finding is a finding of the week in brief.
type Finding struct {
	ID       string     `json:"id"`
	Kind     string     `json:"kind"`
	Severity string     `json:"severity"`
	Since    time.Time  `json:"since"`
	Until    *time.Time `json:"until"` // null: it was open at the end of the days
	Title    string     `json:"title"`
}

// Review is the page.
type Review struct {
	Site     string    `json:"site"`
	Name     string    `json:"name"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"` // exclusive
	Chosen   string    `json:"chosen"`
	Coverage float64   `json:"coverage"`
	Cold     Cold      `json:"outdoors"`
	Counts   Counts    `json:"counts"`
	Points   []Point   `json:"points"`
	Night    *Night    `json:"coldest_night"`
	Findings []Finding `json:"findings"`
}

// row is a point of the hand-over, in the order of the page.
type row struct {
	id, name string
	kinds    []string // of the findings that are about it, by their beginnings
	standsOn []string // kinds of findings of doubtful readings that shake its number
	ask      func(w *Week) Point
}

func table() []row {
	heat := []string{"sensor_pair_offset", "meter_disagreement", "sensor_drifting"}
	return []row{
		{"flow", "Flow", []string{"low_flow", "flow_"}, nil, (*Week).flow},
		{"difference", "Flow–return difference", nil, []string{"low_flow", "sensor_pair_offset"}, (*Week).difference},
		{"curve", "Heating curve", []string{"curve_", "target_not_held"}, []string{"sensor_drifting"}, (*Week).curve},
		{"rooms", "Rooms in the coldest hours", []string{"room_cold"}, nil, (*Week).rooms},
		{"defrost", "Defrosts", []string{"defrost_"}, nil, (*Week).defrosts},
		{"cycling", "Cycling", []string{"short_cycling"}, nil, (*Week).cycling},
		{"hot_water_target", "Hot water: target", []string{"hot_water_short"}, nil, (*Week).hotWaterTarget},
		{"hot_water_time", "Hot water: time", []string{"hot_water_slow"}, nil, (*Week).hotWaterTime},
		{"hot_water_hygiene", "Hot water: hygiene", []string{"hot_water_hygiene"}, nil, (*Week).hygiene},
		{"backup", "Backup heater", []string{"backup_running"}, nil, (*Week).backup},
		{"sensors", "Readings", doubtful, nil, (*Week).sensors},
		{"heat_loss", "Heat loss", nil, heat, (*Week).heatLoss},
		{"coldest_night", "Coldest night", []string{"frost_danger"}, heat, (*Week).output},
	}
}

// doubtful are the findings of readings, by the beginnings of their kinds.
var doubtful = []string{"pipes_swapped", "sensor_", "meter_disagreement", "clock_wrong", "silent"}

// Of makes the review.
func Of(w *Week) *Review {
	w.night = w.coldestNight()
	r := &Review{Site: w.Site, Name: w.Name, From: w.From, To: w.To, Chosen: w.Chosen, Coverage: w.Coverage,
		Cold: w.cold(), Night: w.night, Points: []Point{}, Findings: []Finding{}}
	for _, row := range table() {
		p := row.ask(w)
		p.ID, p.Name = row.id, row.name
		w.judge(&p, &row)
		p.finish()
		r.Points = append(r.Points, p)
		switch p.State {
		case Good:
			r.Counts.Good++
		case Look:
			r.Counts.Look++
		default:
			r.Counts.NotKnown++
		}
	}
	for i := range w.Findings {
		r.Findings = append(r.Findings, w.brief(&w.Findings[i]))
	}
	return r
}

func (w *Week) brief(f *watch.Finding) Finding {
	b := Finding{ID: f.ID(), Kind: f.Kind, Severity: string(f.Severity), Since: f.Since, Title: f.Title}
	if w.over(f) {
		b.Until = &f.Until
	}
	return b
}

// judge lets the week's findings decide over the number.
func (w *Week) judge(p *Point, row *row) {
	own, shaken := w.about(row.kinds), w.shaking(row)
	switch {
	case len(own) > 0:
		w.tell(p, own)
	case shaken != nil:
		p.notKnown("Not to be said while readings are in doubt: "+lowerFirst(shaken.Title)+".", "put the readings right first: see Readings")
	case p.State == Good && !w.Ruled:
		p.notKnown("The rules were not run over so long a time.", "choose a period of at most three months")
	}
}

// about are the findings of the kinds, the worst first.
func (w *Week) about(kinds []string) []*watch.Finding {
	var own []*watch.Finding
	for i := range w.Findings {
		if f := &w.Findings[i]; begins(f.Kind, kinds) && !w.blink(f) {
			own = append(own, f)
		}
	}
	slices.SortStableFunc(own, func(a, b *watch.Finding) int {
		switch {
		case a.Severity == b.Severity:
			return 0
		case a.Severity.AtLeast(b.Severity):
			return -1
		}
		return 1
	})
	return own
}

// blink says of a silence that it is over and did not cost the week its figures.
func (w *Week) blink(f *watch.Finding) bool {
	return f.Name() == "silent" && f.Ended() && w.Coverage >= w.Enough
}

// over says whether a finding had ended before the days did.
func (w *Week) over(f *watch.Finding) bool { return f.Ended() && !f.Until.After(w.To) }

func begins(kind string, beginnings []string) bool {
	return slices.ContainsFunc(beginnings, func(b string) bool { return strings.HasPrefix(kind, b) })
}

// shaking is a finding of doubtful readings on which a point stands, or that would
// hide a finding about it; nil is none.
func (w *Week) shaking(row *row) *watch.Finding {
	if row.id == "sensors" {
		return nil
	}
	for i := range w.Findings {
		f := &w.Findings[i]
		if !begins(f.Kind, doubtful) {
			continue
		}
		if begins(f.Kind, row.standsOn) {
			return f
		}
		hides := func(kind string) bool { return watch.Explains(f.Kind, kind) }
		if slices.ContainsFunc(row.kinds, hides) || slices.ContainsFunc(row.standsOn, hides) {
			return f
		}
	}
	return nil
}

// mostNext are the steps that fit a page; the finding has them all.
const mostNext = 3

// tell puts what was found in the place of what the number says.
func (w *Week) tell(p *Point, own []*watch.Finding) {
	worst := own[0]
	p.State, p.Says = Look, worst.Title
	if w.over(worst) {
		p.Says += fmt.Sprintf(" (%s to %s)", w.moment(worst.Since), w.moment(worst.Until))
	} else {
		p.Says += fmt.Sprintf(" (since %s)", w.moment(worst.Since))
	}
	if n := len(own) - 1; n > 0 {
		p.Says += fmt.Sprintf("; %d more", n)
	}
	p.Says += "."
	p.Next, p.Caution, p.Findings = worst.Next[:min(len(worst.Next), mostNext)], worst.Caution, nil
	for _, f := range own {
		p.Findings = append(p.Findings, f.ID())
	}
}

func (w *Week) moment(t time.Time) string { return t.In(w.From.Location()).Format("Mon 2 Jan 15:04") }

// good and the others give a point its state, its sentence and the next steps.
func (p *Point) good(says string) { p.State, p.Says = Good, says }

func (p *Point) look(says string, next ...string) { p.State, p.Says, p.Next = Look, says, next }

func (p *Point) notKnown(says string, next ...string) {
	p.State, p.Says, p.Next, p.Caution = NotKnown, says, next, ""
}

// value gives a point its number.
func (p *Point) value(v float64, unit string, decimals int) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		p.Value, p.Unit, p.Decimals = &v, unit, decimals
	}
}

// interval gives it the doubt of its number.
func (p *Point) interval(e robust.Estimate) {
	if !math.IsInf(e.Low, 0) && !math.IsInf(e.High, 0) {
		p.Low, p.High = &e.Low, &e.High
	}
}

// finish leaves no nil where JSON wants a list, and no steps for what is good.
func (p *Point) finish() {
	if p.State == Good {
		p.Next, p.Caution = nil, ""
	}
	if p.Next == nil {
		p.Next = []string{}
	}
	if p.Findings == nil {
		p.Findings = []string{}
	}
}

// has says whether the plant ever sent a quantity.
func (w *Week) has(q ingest.Quantity) bool {
	for _, ch := range w.Channels {
		if ch.Quantity() == q {
			return true
		}
	}
	return false
}

func (w *Week) cold() Cold {
	c := Cold{DesignC: w.Limits.DesignOutdoorC}
	if meanC, ok := w.Sums.Outdoor.Of(); ok {
		c.MeanC = &meanC
	}
	for i := range w.Days {
		d := &w.Days[i]
		if meanC, ok := d.Sums.Outdoor.Of(); ok && d.Sums.Outdoor.S >= mostOfDay*d.Sums.SpanS && (c.DayC == nil || meanC < *c.DayC) {
			c.DayC, c.Day = &meanC, &d.Date
		}
	}
	for i := range w.Sums.Hours {
		if meanC, ok := w.Sums.Hours[i].Outdoor.Of(); ok && (c.HourC == nil || meanC < *c.HourC) {
			c.HourC = &meanC
		}
	}
	return c
}

// mostOfDay must be known for a day's mean.
const mostOfDay = 0.5

func lowerFirst(s string) string {
	if len(s) > 1 && s[1] >= 'A' && s[1] <= 'Z' {
		return s // an abbreviation
	}
	return strings.ToLower(s[:1]) + s[1:]
}
