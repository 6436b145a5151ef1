package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/flowrate"
	"coldweek/analysis/job"
	"coldweek/analysis/robust"
)

// The words are those an engineer was promised to read.
func TestTrendInWords(t *testing.T) {
	check := func(want string, low, value, high float64, step bool) {
		f := &flowrate.Result{Trend: &flowrate.Trend{PctPerWeek: robust.Estimate{Low: low, Value: value, High: high}, Days: 28}}
		if step {
			f.Step = &flowrate.Step{}
		}
		assert.Equal(t, want, trendWords(f))
	}
	check("falls 1.1 % a week (0.6 to 1.6, 28 days)", -1.6, -1.1, -0.6, false)
	check("rises 0.4 % a week besides the step (0.1 to 0.7, 28 days)", 0.1, 0.4, 0.7, true)
	check("no trend (-0.2 to +0.1 % a week, 28 days)", -0.2, -0.05, 0.1, false)
	assert.Equal(t, "no trend to be seen yet (9 days)", trendWords(&flowrate.Result{Days: make([]flowrate.Day, 9)}))
	assert.Equal(t, "no trend to be seen yet (1 day)", trendWords(&flowrate.Result{Days: make([]flowrate.Day, 1)}))
}

func TestStepInWords(t *testing.T) {
	at := func(text string) time.Time {
		when, err := time.Parse(time.RFC3339, text)
		assert.NoError(t, err)
		return when
	}
	check := func(want, from, to string) {
		s := &flowrate.Step{BeforeLPH: 1080, AfterLPH: 756, ChangePct: robust.Estimate{Value: -30}, From: at(from), To: at(to)}
		assert.Equal(t, "stepped "+want+" from 1080 to 756 l/h (-30 %)", stepWords(s, time.FixedZone("", 3600)))
	}
	check("on 22 Jan at 09:36", "2026-01-22T08:36:10Z", "2026-01-22T08:36:40Z")
	check("on 22 Jan between 09:36 and 10:12", "2026-01-22T08:36:10Z", "2026-01-22T09:12:00Z")
	check("between 21 Jan 23:40 and 22 Jan 06:05", "2026-01-21T22:40:00Z", "2026-01-22T05:05:00Z")
}

func TestEfficiencyPrintsWhatIsKnown(t *testing.T) {
	var out strings.Builder
	writeEfficiency(&out, &job.Result{})
	assert.Empty(t, out.String(), "without heat there is no efficiency")

	spf, low, high := 3.0, 2.7, 3.3
	writeEfficiency(&out, &job.Result{
		Efficiency: job.Efficiency{Overall: &spf, Low: &low, High: &high},
		Efficiencies: &efficiency.Result{
			Measured:     efficiency.H4,
			Boundaries:   []efficiency.AtBoundary{{Boundary: efficiency.H2, SPF: 3.2}, {Boundary: efficiency.H4, SPF: 3}},
			HeatingShare: &efficiency.Share{Value: 0.7, Judgement: efficiency.TooHigh},
			Laboratory:   &efficiency.Comparison{},
		},
	})
	for _, want := range []string{"H2 3.20, H4 3.00 (the electricity meter's)", "heating 0.70 (0.63 to 0.77), too high for any machine", "not known: the plant did not heat between its test points"} {
		assert.Contains(t, out.String(), want)
	}
}
