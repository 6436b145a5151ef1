package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
)

func TestCyclingInWords(t *testing.T) {
	var out strings.Builder
	writeCycling(&out, &job.Result{})
	assert.Empty(t, out.String(), "nothing is known of the compressor")

	starts, median := 31, 9*time.Minute
	writeCycling(&out, &job.Result{
		Cycling: job.Cycling{Starts: &starts},
		Running: cycling.Report{
			RunS: 18000, Verdict: cycling.Short, Why: "5 starts within an hour", Examined: 20,
			Busiest: &cycling.Busiest{From: time.Date(2026, 3, 20, 11, 5, 0, 0, time.UTC), Starts: 5},
			Heating: cycling.Lengths{Count: 30, P10: 7 * time.Minute, Median: median, P90: 3 * time.Hour},
			Causes: []cycling.Cause{
				{Kind: cycling.LittleWater, Finding: cycling.Likely, Share: 0.97, Title: "There is too little water",
					Evidence: []cycling.Figure{{Name: "effective volume", Value: 43.6, Unit: "l"}}},
				{Kind: cycling.MinimumOutput, Finding: cycling.Likely, Share: 0.03, Title: "Hardly any share"},
				{Kind: cycling.LowFlow, Finding: cycling.Unknown, Title: "Too little flow", Missing: "the flow rate"},
				{Kind: cycling.TightSwing, Finding: cycling.Unlikely, Title: "Not it"},
			},
			ByOutdoor: []cycling.Band{{FromC: 8, ToC: 10, RunS: 7200, Starts: 12, Short: 9, Median: &median}},
		},
	})
	text := out.String()
	assert.Contains(t, text, "Cycling: short cycling; 5 starts within an hour")
	assert.Contains(t, text, "5, from 20 Mar 11:05")
	assert.Contains(t, text, "30, median 9 min, eight in ten from 7 min to 3.0 h")
	assert.Contains(t, text, "Why, from 20 heating runs, the likeliest first:")
	assert.Contains(t, text, "There is too little water (97 % of the runs): effective volume 44 l")
	assert.Contains(t, text, "Too little flow: not known; it would take the flow rate")
	assert.Regexp(t, `8 to 10 +2\.0 +12 +9 +9 min`, text)
	assert.NotContains(t, text, "Hardly any share")
	assert.NotContains(t, text, "Not it")
}

func TestNoCauseStandsOut(t *testing.T) {
	var out strings.Builder
	writeCauses(&out, &cycling.Report{Examined: 9, Causes: []cycling.Cause{{Finding: cycling.Unlikely}}})
	assert.Contains(t, out.String(), "no cause stands out")
}

func TestDefrostsInWords(t *testing.T) {
	var out strings.Builder
	writeDefrosts(&out, &job.Result{})
	assert.Empty(t, out.String(), "no defrosts, no section")

	report := defrost.Report{
		Episodes:  make([]defrost.Episode, 4),
		Pattern:   defrost.Pattern{Kind: defrost.Timed, Why: "all alike"},
		ByOutdoor: []defrost.Band{{From: -2, To: 0, RunS: 3600, Count: 4, Known: 2, Length: 20 * time.Minute, ElectricityJ: 3.6e6}, {From: 0, To: 2, RunS: 7200}},
		Cost: &defrost.Total{ElectricityJ: 7.2e6, MissedHeatJ: 5.4e6, Known: 2, BothSides: 1,
			Penalty: &defrost.Penalty{Share: 0.061, Low: 0.055, High: 0.067, Net: 2.79, Undisturbed: 2.97}},
	}
	writeDefrosts(&out, &job.Result{Defrosting: report})
	text := out.String()
	assert.Contains(t, text, "Defrosts: 2.0 kWh of electricity more than their heat was worth, recovery included, and 1.5 kWh of heat missed meanwhile; "+
		"they take 6.1 % (5.5 to 6.7) off the efficiency, 2.79 for 2.97 without; rests on 2 of 4, 1 of them with settled minutes on both sides")
	assert.Contains(t, text, "Started by the clock, frost or not: all alike")
	assert.Regexp(t, `-2 to 0 +1\.0 +4 +20 +2\.00`, text, "the unknown half taken for average")
	assert.Regexp(t, `0 to 2 +2\.0 +0 +0 `, text)
	assert.NotContains(t, text, "humidity")

	report.Cost = nil
	report.Episodes[0].Defrost = siteday.Defrost{}
	out.Reset()
	writeDefrosts(&out, &job.Result{Defrosting: report})
	assert.Contains(t, out.String(), "cost not known")
}
