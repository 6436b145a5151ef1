package siteday_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// workedDay is a day of minutes whose times and powers were chosen, so that
// what must come out can be said beforehand: heating from 00:00 to 06:00, the
// pump on until 12:00, then rest. It is 0 °C until 09:00 and 8 °C afterwards.
func workedDay() siteday.Day {
	midnight := time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC)
	names := []ingest.Channel{"flow_temp", "return_temp", "outdoor_temp", "flow_rate", "power", "pump_power"}
	columns := make([]ingest.Column, len(names))
	for c, name := range names {
		columns[c].Channel = name
	}
	for minute := range 24*60 + 1 {
		values := []float64{35, 30, 8, 1000, 1540, 40}
		switch {
		case minute >= 12*60:
			values = []float64{25, 25, 8, 0, 10, 0}
		case minute >= 6*60:
			values = []float64{25, 25, 8, 1000, 50, 40}
		}
		if minute < 9*60 {
			values[2] = 0
		}
		for c := range columns {
			columns[c].UnixMS = append(columns[c].UnixMS, midnight.Add(time.Duration(minute)*time.Minute).UnixMilli())
			columns[c].Value = append(columns[c].Value, values[c])
		}
	}
	tr := trace.Build(columns, midnight, midnight.AddDate(0, 0, 1), trace.Options{})
	return siteday.Sum(tr, operation.Detect(tr), "2026-01-14", midnight, midnight.AddDate(0, 0, 1))
}

func TestPumpWithoutCompressorIsSorted(t *testing.T) {
	day := workedDay()
	p := day.Sums.Pump
	const minuteS = 60.0
	assert.InDelta(t, 10*60, p.OverrunS, minuteS, "ten minutes after the stop")
	assert.InDelta(t, (3*60-10)*60, p.FrostS, 2*minuteS, "the rest of the three hours at 0 °C")
	assert.InDelta(t, 3*3600, p.IdleS, 2*minuteS)
	assert.InDelta(t, day.Sums.SecondsS[operation.Circulating], p.OverrunS+p.FrostS+p.IdleS, 1e-6, "the three are all of it")
	assert.InDelta(t, 50, p.IdleJ/p.IdleCoveredS, 1, "W of the whole meter")
	assert.InDelta(t, 10, p.RestJ/p.RestCoveredS, 1, "W at rest")
	assert.InDelta(t, 40, p.OwnIdleJ/p.OwnIdleS, 1, "W of the pump's own meter")
	assert.InDelta(t, 40*12*3600, p.OwnJ, 40*2*minuteS)
}

func TestSteadyHeatingIsSortedByOutput(t *testing.T) {
	s := workedDay().Sums
	total := siteday.SteadyBin{}
	for k, b := range s.Steady {
		// EN 1434's k at 35/30, flow sensor in the return: 1.155586 kWh/(m³·K)
		// (IF97 at 16 bar, testdata/fluid), so 1 m³/h at 5 K is 5,778 W.
		if b.S > 60 { // not the minute in which it stops
			assert.InEpsilon(t, 5778, siteday.OutputBinW(k), 0.03)
		}
		total.S, total.VolumeL, total.DiffKS = total.S+b.S, total.VolumeL+b.VolumeL, total.DiffKS+b.DiffKS
	}
	assert.InDelta(t, 6*3600-5*60, total.S, 120, "heating less five minutes to settle")
	assert.InDelta(t, 1000, total.FlowLPH(), 1)
	assert.InDelta(t, 5, total.DiffKS/total.S, 0.05)
}
