package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/season"
)

func TestSeasonInWords(t *testing.T) {
	var out strings.Builder
	heat := season.Interval{Value: 12345, Low: 11000, High: 13700}
	require.NoError(t, writeSeason(&out, &job.Season{
		Site: "mill-cottage",
		Seasons: []job.ExpectedSeason{
			{Climate: job.OwnHours, Why: "what the house needs is not known yet"},
			{Climate: "average", Money: &season.Interval{Value: 1012}, Projection: &season.Projection{
				HeatKWh: heat, ElectricityKWh: season.Interval{Value: 4000, Low: 3800, High: 4200}, SPF: season.Interval{Value: 3.09, Low: 2.9, High: 3.3},
				BeyondShare: 0.2, SeenFromC: -3, SeenToC: 9,
			}},
		},
		Cost: season.Cost{Currency: "GBP"},
		Comparison: &season.Comparison{
			BaseC: 15.5, HeatChange: &season.Interval{Value: 0.02, Low: -0.01, High: 0.05}, ExpectedKWh: new(950.0),
			ElectricityChange: &season.Interval{Value: 0.1, Low: 0.05, High: 0.15}, Cautions: []string{"the base is the customary one"},
		},
	}))
	text := out.String()
	assert.Contains(t, text, "not known: what the house needs is not known yet")
	assert.Regexp(t, `EN 14825, average +12350 \(11000 to 13710\) kWh of heat, 4000 \(3800 to 4210\) kWh of electricity, SPF 3.09 \(2.90 to 3.30\), `+
		`about 1012 GBP; 20 % of the heat lies beyond the -3 to 9 °C seen`, text)
	assert.Contains(t, text, "degree days below 15.5 °C (the customary base)")
	assert.Contains(t, text, "Heat for each degree day: +2 % (-1 to +5), no change to be seen; 950 kWh had been expected in this weather.")
	assert.Contains(t, text, "defrosts apart: +10 % (+5 to +15).")
	assert.Contains(t, text, "Caution: the base is the customary one")
}

// TestSeasonOfLoadedDays runs the command over a simulated plant's days.
func TestSeasonOfLoadedDays(t *testing.T) {
	dir := newHome(t, "orchard-house", "id: orchard-house\ntime_zone: Europe/London\n")
	file := filepath.Join(t.TempDir(), "orchard.csv")
	record := filepath.Join(dir, "sites", "orchard-house.yaml")
	require.NoError(t, os.Remove(record))
	must(t, "rig", "csv", "--house", "orchard-house", "--from", "2026-01-10", "--days", "18", "--every", "60s", "--out", file, "--record", record)
	must(t, "load", "orchard-house", file, "--home", dir)
	var answer job.Season
	text := must(t, "season", "orchard-house", "--home", dir, "--from", "2026-01-19", "--to", "2026-01-28",
		"--against-from", "2026-01-10", "--against-to", "2026-01-19", "--json")
	require.NoError(t, json.Unmarshal([]byte(text), &answer))
	assert.Len(t, answer.Seasons, 4)
	require.NotNil(t, answer.Cost.Money, "the record has a price")
	require.NotNil(t, answer.Comparison)
	assert.Equal(t, 9, answer.Comparison.This.Days)
	require.NotNil(t, answer.Comparison.HeatChange)
	assert.InDelta(t, 0, answer.Comparison.HeatChange.Value, 0.15, "nothing has changed")

	_, errText, code := coldweek(t, "season", "orchard-house", "--home", dir, "--from", "2026-01-19", "--to", "2026-01-28", "--against-from", "2026-01-10")
	assert.NotZero(t, code)
	assert.Contains(t, errText, "--against-from, --against-to")
}
