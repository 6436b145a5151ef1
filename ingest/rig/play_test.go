package rig_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/weather"
)

// played is what came out of a rig.
type played struct {
	readings map[ingest.Channel][]ingest.Reading
	truth    rig.Truth
}

// play runs a plant for some days from a start. Longer plays are sampled once
// a minute, to spare memory.
func play(t *testing.T, p rig.Plant, start time.Time, days float64) played {
	t.Helper()
	if days > 6 {
		p.Metering.Interval = time.Minute
	}
	r, err := rig.New(p, start)
	require.NoError(t, err)
	out := played{readings: map[ingest.Channel][]ingest.Reading{}}
	r.Advance(start.Add(hours(24*days)), func(x ingest.Reading) {
		out.readings[x.Channel] = append(out.readings[x.Channel], x)
	})
	out.truth = r.Truth()
	return out
}

// truthOf runs a plant for some days without keeping readings.
func truthOf(t *testing.T, p rig.Plant, start time.Time, days float64) rig.Truth {
	t.Helper()
	r, err := rig.New(p, start)
	require.NoError(t, err)
	r.Advance(start.Add(hours(24*days)), nil)
	return r.Truth()
}

func hours(n float64) time.Duration { return time.Duration(n * float64(time.Hour)) }

// still is one hour of weather that never changes.
func still(outdoorC, humidityPct float64) []weather.Hour {
	return []weather.Hour{{OutdoorC: outdoorC, HumidityPct: humidityPct}}
}

// good is the well-behaved house under still weather.
func good(outdoorC, humidityPct float64, troubles ...rig.Trouble) rig.Plant {
	p := rig.Houses()[0]
	p.Hours = still(outdoorC, humidityPct)
	p.Troubles = troubles
	return p
}

// dry is a house that only heats: no hot water, no defrosts.
func dry(outdoorC float64, troubles ...rig.Trouble) rig.Plant {
	p := good(outdoorC, 20, troubles...)
	p.HotWater.CylinderL = 0
	return p
}

func values(readings []ingest.Reading) []float64 {
	vs := make([]float64, len(readings))
	for i, r := range readings {
		vs[i] = r.Value
	}
	return vs
}

func median(vs []float64) float64 {
	if len(vs) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(vs))
	return s[len(s)/2]
}

func mean(vs []float64) float64 {
	sum := 0.0
	for _, v := range vs {
		sum += v
	}
	return sum / float64(len(vs))
}

// while keeps the values of a channel at times when another's condition holds;
// both must be sampled together.
func (p played) while(c, other ingest.Channel, holds func(float64) bool) []float64 {
	at := map[int64]bool{}
	for _, r := range p.readings[other] {
		at[r.Time.UnixMilli()] = holds(r.Value)
	}
	var vs []float64
	for _, r := range p.readings[c] {
		if at[r.Time.UnixMilli()] {
			vs = append(vs, r.Value)
		}
	}
	return vs
}

func above(limit float64) func(float64) bool { return func(v float64) bool { return v > limit } }

// difference is flow minus return at the times of both.
func (p played) difference() []ingest.Reading {
	at := map[int64]float64{}
	for _, r := range p.readings["return_temp"] {
		at[r.Time.UnixMilli()] = r.Value
	}
	var out []ingest.Reading
	for _, r := range p.readings["flow_temp"] {
		if returnC, ok := at[r.Time.UnixMilli()]; ok {
			r.Value -= returnC
			out = append(out, r)
		}
	}
	return out
}
