package heatloss

import (
	"fmt"
	"math"
	"strings"
)

// Verdict holds the loss against the design heat loss.
type Verdict string

// The verdicts.
const (
	BelowDesign Verdict = "below design"
	AsDesigned  Verdict = "as designed"
	AboveDesign Verdict = "above design"
	NotKnownYet Verdict = "not known yet"
)

// judge. A house is above its design when the interval says so and the distance
// matters: it does not hold 1, and the ratio is beyond the tolerance. It is as
// designed when the ratio is within the tolerance or the interval holds 1, and
// the interval is narrow enough to have shown otherwise.
func (r *Result) judge() {
	r.Verdict = NotKnownYet
	rules := &r.options.Rules
	missing := r.missing()
	if missing == "" {
		low, high := 1-rules.Tolerance, 1+rules.Tolerance
		switch q := r.Ratio; {
		case q.High < 1 && q.Value < low:
			r.Verdict = BelowDesign
		case q.Low > 1 && q.Value > high:
			r.Verdict = AboveDesign
		case q.High-q.Value <= rules.WidestRatio:
			r.Verdict = AsDesigned
		default:
			missing = fmt.Sprintf("the interval is too wide for a verdict (as designed needs ±%.0f %% of the design)", 100*rules.WidestRatio)
		}
	}
	r.warn()
	r.Why, r.Missing = r.because(missing), missing
}

// missing is what a verdict lacks, "" when it lacks nothing.
func (r *Result) missing() string {
	rules, o := &r.options.Rules, &r.options
	switch {
	case r.Days < rules.FewestDays:
		return fmt.Sprintf("%s with known heat and weather, at least %d are needed", dayCount(r.Days), rules.FewestDays)
	case r.LossWPerK == nil:
		return "heat does not rise as it gets colder"
	case o.OutdoorC == nil || o.DesignW == nil:
		return "the record has no design heat loss with its outdoor temperature"
	case r.Ratio == nil:
		return "the design outdoor temperature is not below the rooms'"
	case r.Days < rules.VerdictDays:
		return fmt.Sprintf("%s; a verdict needs %d", dayCount(r.Days), rules.VerdictDays)
	case r.Method == BySignature && r.Signature.CV > rules.DailyCV:
		return fmt.Sprintf("the days scatter too much about the line: CV(RMSE) %.0f %%, at most %.0f %%", 100*r.Signature.CV, 100*rules.DailyCV)
	}
	return ""
}

// because says in a sentence or two what the verdict rests on.
func (r *Result) because(missing string) string {
	var parts []string
	if missing != "" {
		parts = append(parts, missing)
	}
	if q := r.Ratio; q != nil {
		parts = append(parts, fmt.Sprintf("the house loses %.0f %% of the design heat loss (%.0f to %.0f)", 100*q.Value, 100*q.Low, 100*q.High))
	}
	if r.Method != "" {
		parts = append(parts, fmt.Sprintf("%s, outdoors %.1f to %.1f °C", dayCount(r.Days), r.ColdestC, r.WarmestC), r.quality())
	}
	return strings.Join(parts, "; ")
}

func dayCount(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// quality says how well the quoted method fits, and why it is the one.
func (r *Result) quality() string {
	if g := r.GreyBox; r.Method == ByGreyBox {
		return fmt.Sprintf("hourly grey box over %d hours of heat and room temperature, since the daily signature needs %d days; correlation of neighbouring hours' misses %.2f",
			g.Hours, r.options.Rules.SignatureDays, g.Rho)
	}
	s := r.Signature
	text := fmt.Sprintf("daily signature, CV(RMSE) %.1f %% (up to %.0f %% will do for days; ASHRAE Guideline 14 has 15 %% for months, 30 %% for hours), mean bias %.1f %%, correlation of neighbouring days %.2f",
		100*s.CV, 100*r.options.Rules.DailyCV, 100*math.Abs(s.NMBE), s.Rho)
	if len(s.Terms) > 0 {
		names := make([]string, len(s.Terms))
		for i, t := range s.Terms {
			names[i] = string(t)
		}
		text += ", with " + strings.Join(names, " and ")
	}
	return text
}

// warn lists what the figures should be read with.
func (r *Result) warn() {
	if r.Method == "" {
		return
	}
	rules, o := &r.options.Rules, &r.options
	say := func(format string, values ...any) { r.Warnings = append(r.Warnings, fmt.Sprintf(format, values...)) }
	spanK := r.WarmestC - r.ColdestC
	switch {
	case r.Days < rules.LineDays || spanK < rules.LineSpanK:
		say("%s over %.1f K of outdoor temperature; %d days over %.0f K are customary", dayCount(r.Days), spanK, rules.LineDays, rules.LineSpanK)
	case r.Signature.BaseC != nil && (r.Days < rules.ChangeDays || r.Signature.warmDays() < rules.WarmDays):
		say("the base temperature stands on %s, %d of them warmer; %d with %d are customary", dayCount(r.Days), r.Signature.warmDays(), rules.ChangeDays, rules.WarmDays)
	}
	if o.OutdoorC != nil && *o.OutdoorC < r.ColdestC-rules.BeyondK {
		say("the design outdoor temperature of %.0f °C lies %.1f K below the coldest day: drawn on, not seen", *o.OutdoorC, r.ColdestC-*o.OutdoorC)
	}
	r.warnOfRooms(say)
	if r.Method == BySignature && r.Days < rules.SignatureDays {
		say("few days, so what is usual of houses was taken in: no heat needed from %d ± %.0f K below the rooms", usualGainK, 2*usualGainSpreadK)
	}
	if o.ScaleRatio > 0 || o.PairK > 0 {
		say("the heat meter alone leaves ±%.1f %% of the loss in doubt, which no number of days takes away", 100*r.meterRatio())
	}
	r.warnOfLeft(say)
}

func (r *Result) warnOfRooms(say func(string, ...any)) {
	if !r.WithRooms {
		say("no room temperatures: the rooms are taken to follow the weather by %.0f ± %.0f %%", 100*roomsFollowRatio, 100*roomsDoubtRatio)
	}
	if r.options.RoomC == nil {
		say("the record has no design room temperature; %.1f °C is taken", r.RoomC)
	}
}

// warnOfLeft tells of days that the fit leaves out.
func (r *Result) warnOfLeft(say func(string, ...any)) {
	dates := map[Left][]string{}
	var order []Left
	for _, p := range r.Points {
		if p.Left != "" {
			if dates[p.Left] == nil {
				order = append(order, p.Left)
			}
			dates[p.Left] = append(dates[p.Left], p.Date)
		}
	}
	for _, why := range order {
		const most = 5
		list, more := dates[why], ""
		if n := len(list); n > most {
			list, more = list[:most], fmt.Sprintf(" and %d more", n-most)
		}
		say("left out, %s: %s%s", why, strings.Join(list, ", "), more)
	}
}

// warmDays are those above the base.
func (s *Signature) warmDays() int {
	n := 0
	for _, row := range s.fit.rows {
		if row[1] <= 0 {
			n++
		}
	}
	return n
}
