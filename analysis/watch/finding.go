package watch

import (
	"slices"
	"strings"
	"time"
)

// Severity says how much a finding matters.
type Severity string

// The severities, from the least. Urgent is for what does harm within hours.
const (
	Info      Severity = "info"
	Attention Severity = "attention"
	Urgent    Severity = "urgent"
)

// weight orders severities.
func (s Severity) weight() int {
	switch s {
	case Urgent:
		return 2
	case Attention:
		return 1
	}
	return 0
}

// AtLeast says whether a severity is another or worse.
func (s Severity) AtLeast(o Severity) bool { return s.weight() >= o.weight() }

func worse(a, b Severity) Severity {
	if b.weight() > a.weight() {
		return b
	}
	return a
}

// Figure is one figure of the evidence. Name ends in its unit, as in
// flow_rate_lph; Unit is how people write it.
type Figure struct {
	Name     string  `json:"name"`
	Value    float64 `json:"value"`
	Unit     string  `json:"unit,omitempty"`
	Decimals int     `json:"decimals,omitempty"`
}

// unitEndings end the names of figures that have a unit.
var unitEndings = []string{"_c", "_k", "_lph", "_pct", "_kw", "_w", "_kwh", "_min", "_minutes", "_h", "_hours", "_s", "_days", "_d", "_bar"}

// Words is the figure's name in words, without the unit that follows the number.
func (f Figure) Words() string {
	name := f.Name
	for _, ending := range unitEndings {
		if cut, ok := strings.CutSuffix(name, ending); ok && f.Unit != "" {
			name = cut
			break
		}
	}
	return strings.ReplaceAll(strings.Replace(name, "_pct_", "_", 1), "_", " ")
}

// Finding is one thing noticed, from its beginning to its end.
type Finding struct {
	Kind     string // of the table's names, with /place or /channel where there may be several
	Severity Severity
	Since    time.Time
	Until    time.Time // zero while it lasts
	Title    string    // plain words with the main number
	Evidence []Figure  // the main one first
	Causes   []string  // likeliest first
	Next     []string  // what to look at, in order
	Caution  string    // where the work can hurt someone
	Basis    string    // what the limit stands on
	AsOf     time.Time // what the figures were taken up to
}

// ID is how a finding is called: its kind and its beginning.
func (f *Finding) ID() string { return f.Kind + "@" + f.Since.UTC().Format("2006-01-02T15:04:05Z") }

// Ended says whether it is over.
func (f *Finding) Ended() bool { return !f.Until.IsZero() }

// Withdrawn says whether later readings showed that there was nothing.
func (f *Finding) Withdrawn() bool { return f.Ended() && !f.Until.After(f.Since) }

// figure is the value of a figure.
func (f *Finding) figure(name string) (value float64, known bool) {
	k := slices.IndexFunc(f.Evidence, func(e Figure) bool { return e.Name == name })
	if k < 0 {
		return 0, false
	}
	return f.Evidence[k].Value, true
}

// Name is the kind without place or channel.
func (f *Finding) Name() string {
	name, _, _ := strings.Cut(f.Kind, "/")
	return name
}

// end is when it ends, far away while it lasts.
func (f *Finding) end() time.Time {
	if f.Ended() {
		return f.Until
	}
	return farAway
}

var farAway = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// overlaps says whether two findings share time, or lie closer than that.
func (f *Finding) overlaps(o *Finding, within time.Duration) bool {
	return !f.Since.After(o.end().Add(within)) && !o.Since.After(f.end().Add(within))
}
