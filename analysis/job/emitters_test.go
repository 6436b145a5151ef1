package job_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/emitter"
	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

const visited = `
id: tannhof
time_zone: Europe/Berlin
design: {outdoor_temp_c: -12, room_temp_c: 20}
commissioned: {circuits: [{name: north, flow_rate_lph: 500}, {name: south, flow_rate_lph: 500}]}
emitters:
  rooms:
    - {place: kitchen, design_loss_w: 1600, floor_heating_area_m2: 25}
    - {place: study, design_loss_w: 640, circuit: north, radiators: [{output_w: 1000}]}
    - {place: attic, design_loss_w: 500, radiators: [{output_w: 900}]}
visits:
  - time: 2026-01-10T10:30:00+01:00
    readings: [{channel: room_temp/kitchen, value: 10}]
  - time: 2026-01-12T10:30:00+01:00
    readings:
      - {channel: outdoor_temp, value: 0}
      - {channel: room_temp/kitchen, value: 66.2, unit: "[degF]"}
      - {channel: floor_temp/kitchen, value: 24}
      - {channel: floor_temp/kitchen, value: 25}
      - {channel: room_temp/study, value: 20}
      - {channel: flow_temp, value: 40}
      - {channel: return_temp/north, value: 30}
      - {channel: return_temp/south, value: 36}
      - {channel: return_temp, value: 34}
  - time: 2026-03-01T10:30:00+01:00
    readings: [{channel: room_temp/kitchen, value: 10}]
`

func TestEmittersByTheLatestVisit(t *testing.T) {
	record, err := site.Parse("tannhof.yaml", []byte(visited))
	require.NoError(t, err)
	w, err := job.ParseWindow(record, "2026-01-05", "2026-02-01")
	require.NoError(t, err)
	r, err := job.AnalyseColumns(record, nil, w)
	require.NoError(t, err)
	e := r.Emitters
	assert.Equal(t, "2026-01-12T10:30:00+01:00", e.Visit.Format(time.RFC3339), "the latest within the window")
	require.Len(t, e.Rooms, 2, "the attic was not looked at")

	kitchen := e.Rooms[0]
	// EN 1264 at 24.5 - 19 K (66.2 °F is 19 °C): 8.92·5.5^1.1; the loss by 19/32 of the design's.
	assert.InDelta(t, 8.92*math.Pow(5.5, 1.1), kitchen.Floor.HeatWM2.Value, 0.01)
	assert.InDelta(t, 1600*19/32.0, *kitchen.NeededW, 0.01)
	assert.Equal(t, emitter.Carries, kitchen.Verdict)
	study := e.Rooms[1]
	// EN 442 at 40/30/20 with its circuit's own return: 15 K by the mean, but the
	// return's excess is half the flow's: logarithmic, 14.43 K.
	assert.InDelta(t, 1000*math.Pow(10/math.Log(2)/49.8329, 1.3), study.Radiators.Value, 0.1)

	c := e.Circuits
	require.NotNil(t, c)
	require.Empty(t, c.Why)
	assert.Equal(t, []string{"north", "south"}, c.Names)
	assert.InDelta(t, 1.0/3, c.Division.FlowShare[0].Value, 1e-9, "34 lies two thirds of the way from 30 to 36")
	assert.Equal(t, []float64{0.5, 0.5}, c.SetShare)
	assert.InDelta(t, 10.0/18, c.HeatShare[0], 1e-9, "a third of the flow at 10 K, two thirds at 4 K")
}

// TestCircuitsByTheirSensors: two circuits of 700 and 300 l/h, whose returns go
// up and down on their own; what they mix to follows from the balance.
func TestCircuitsByTheirSensors(t *testing.T) {
	record, err := site.Parse("tannhof.yaml", []byte("id: tannhof\ntime_zone: Europe/Berlin\n"))
	require.NoError(t, err)
	w, err := job.ParseWindow(record, "2026-01-05", "2026-01-08")
	require.NoError(t, err)
	names := []ingest.Channel{"flow_temp", "return_temp", "return_temp/north", "return_temp/south", "flow_rate", "power", "outdoor_temp", "mode"}
	columns := make([]ingest.Column, len(names))
	for c := range columns {
		columns[c].Channel = names[c]
	}
	for at := w.From.Add(-6 * time.Hour); at.Before(w.To.Add(6 * time.Hour)); at = at.Add(time.Minute) {
		h := at.Sub(w.From).Hours()
		northC, southC := 30+2*math.Sin(h/5), 33+1.5*math.Sin(h/3+1)
		for c, value := range []float64{38, 0.7*northC + 0.3*southC, northC, southC, 1000, 2000, 1, float64(ingest.ModeHeating)} {
			columns[c].UnixMS, columns[c].Value = append(columns[c].UnixMS, at.UnixMilli()), append(columns[c].Value, value)
		}
	}
	r, err := job.AnalyseColumns(record, columns, w)
	require.NoError(t, err)
	c := r.Emitters.Circuits
	require.NotNil(t, c)
	require.Empty(t, c.Why)
	assert.False(t, c.FromVisits)
	assert.InDelta(t, 0.7, c.Division.FlowShare[0].Value, 0.005)
	assert.Greater(t, c.Division.Times, 50)
	assert.InDelta(t, 0, c.Division.RestK, 0.02)
}
