package rig_test

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// Source: the first law. What enters through the sensors is given to house and
// cylinder or stored in the water; what the house gets it loses or stores.
func TestEnergyIsConserved(t *testing.T) {
	plants := append(rig.Houses(), rig.Random(1), rig.Random(3), rig.Random(5), rig.Random(13))
	for _, p := range plants {
		b := truthOf(t, p, winter, 8).Balance
		assert.InEpsilon(t, b.SensorsKWh+b.AfterSensorsKWh, b.EmittedKWh+b.CylinderKWh+b.StoredWaterKWh, 1e-6, "water of %s", p.ID)
		assert.InEpsilon(t, b.EmittedKWh+b.GainsKWh, b.LossKWh+b.StoredHouseKWh, 1e-6, "house of %s", p.ID)
		assert.Greater(t, b.EmittedKWh, 100.0, p.ID)
	}
}

// Source: the definition of a heat loss coefficient: what keeps the house at a
// steady difference, per kelvin of it.
func TestSteadyLossIsTheCoefficient(t *testing.T) {
	for _, p := range []rig.Plant{rig.Houses()[0], rig.Houses()[1], rig.Random(4)} {
		p.Hours, p.HotWater.CylinderL = still(1, 20), 0
		r, err := rig.New(p, winter)
		require.NoError(t, err)
		r.Advance(winter.AddDate(0, 0, 20), nil)
		before := r.Truth().Balance
		seconds := 0.0
		r.Advance(winter.AddDate(0, 0, 27), nil)
		after := r.Truth()
		for _, d := range after.Days[20:27] {
			seconds += d.Hours * 3600 * (d.RoomC - d.OutdoorC)
		}
		heatJ := 3.6e6 * (after.Balance.EmittedKWh - before.EmittedKWh + after.Balance.GainsKWh - before.GainsKWh -
			(after.Balance.StoredHouseKWh - before.StoredHouseKWh))
		assert.InEpsilon(t, p.House.HeatLossWPerK, heatJ/seconds, 0.002, p.ID)
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	table := func(p rig.Plant, pieces int) string {
		r, err := rig.New(p, winter)
		require.NoError(t, err)
		var out bytes.Buffer
		c := rig.NewCSV(&out, p.Channels())
		for i := 1; i <= pieces; i++ {
			r.Advance(winter.Add(hours(36*float64(i)/float64(pieces))), c.Add)
		}
		require.NoError(t, c.Flush())
		return out.String()
	}
	p := rig.Random(17)
	p.Metering.DropoutShare, p.Metering.Jitter = 0.01, 2*time.Second
	whole := table(p, 1)
	assert.Equal(t, whole, table(p, 1))
	assert.Equal(t, whole, table(p, 27), "cut into pieces")
	p.Seed++
	assert.NotEqual(t, whole, table(p, 1), "another seed")
}

func TestReadingsComeInOrderAndArePossible(t *testing.T) {
	for seed := range uint64(12) {
		p := rig.Random(seed)
		r, err := rig.New(p, winter)
		require.NoError(t, err)
		last, seen := winter, map[ingest.Channel]int{}
		r.Advance(winter.AddDate(0, 0, 2), func(x ingest.Reading) {
			if x.Time.Before(last) || x.Channel.Quantity().CheckValue(x.Value) != nil || x.Site != p.ID {
				t.Fatalf("%s: reading %v after %v", p.ID, x, last)
			}
			last = x.Time
			seen[x.Channel]++
		})
		assert.Len(t, seen, len(p.Channels()), "every channel of %s", p.ID)
		assert.False(t, last.After(winter.AddDate(0, 0, 2)))
	}
}

// Source: the definitions in design: splits add up, net = space + hot water -
// drawn, days add up to the total.
func TestTruthAddsUp(t *testing.T) {
	for _, p := range append(rig.Houses(), rig.Random(24), rig.Random(29)) {
		truth := truthOf(t, p, winter, 9.4)
		h, e := truth.Heat, truth.Electricity
		assert.InDelta(t, h.NetKWh, h.SpaceKWh+h.HotWaterKWh-h.DefrostDrawnKWh, 1e-6)
		assert.InDelta(t, e.TotalKWh, e.SpaceKWh+e.HotWaterKWh+e.DefrostKWh+e.StandbyKWh+e.BackupKWh, 1e-6)
		assert.GreaterOrEqual(t, h.DefrostDrawnKWh, 0.0)
		var net, total, drawn, hours float64
		starts, defrosts := 0, 0
		for _, d := range truth.Days {
			net += d.Heat.NetKWh
			total += d.Electricity.TotalKWh
			hours += d.Hours
			starts += d.Starts
			defrosts += d.Defrosts
		}
		for _, d := range truth.Defrosts {
			drawn += d.DrawnKWh
		}
		assert.InDelta(t, h.NetKWh, net, 1e-6)
		assert.InDelta(t, e.TotalKWh, total, 1e-6)
		assert.InDelta(t, h.DefrostDrawnKWh, drawn, 1e-6)
		assert.InDelta(t, 9.4*24, hours, 0.01)
		assert.Equal(t, truth.Starts, starts)
		assert.Equal(t, len(truth.Defrosts), defrosts)
		assert.Len(t, truth.Runs, truth.Starts)
	}
}

// Source: the IANA database: London lost an hour on 30 March 2025 and gained
// one on 26 October.
func TestLocalDaysOfClockChanges(t *testing.T) {
	p := rig.Houses()[0]
	spring := truthOf(t, p, time.Date(2025, 3, 29, 0, 0, 0, 0, time.UTC), 3)
	assert.Equal(t, "2025-03-30", spring.Days[1].Date)
	assert.InDelta(t, 23, spring.Days[1].Hours, 0.01)
	autumn := truthOf(t, p, time.Date(2025, 10, 24, 23, 0, 0, 0, time.UTC), 3)
	assert.Equal(t, "2025-10-26", autumn.Days[1].Date)
	assert.InDelta(t, 25, autumn.Days[1].Hours, 0.01)
	assert.InDelta(t, 24, autumn.Days[0].Hours, 0.01)
}

func TestTruthMarshals(t *testing.T) {
	truth := truthOf(t, rig.Houses()[2], winter, 2)
	text, err := json.Marshal(truth)
	require.NoError(t, err)
	for _, key := range []string{`"heat_loss_w_per_k":335`, `"space_kwh"`, `"defrost_drawn_kwh"`, `"circulating_kwh"`, `"standby_kwh"`,
		`"base_c"`, `"starts"`, `"outdoor_c"`, `"peak_flow_c"`, `"style":"reverse_cycle"`, `"kind":"blocking_strainer"`} {
		assert.Contains(t, string(text), key)
	}
}

func TestRecordsAreInOrder(t *testing.T) {
	plants := rig.Houses()
	for seed := range uint64(40) {
		plants = append(plants, rig.Random(seed))
	}
	for _, p := range plants {
		require.NoError(t, p.Validate(), p.ID)
		r := p.Record()
		assert.Equal(t, p.TimeZone, r.Zone().String())
		assert.InDelta(t, p.Loop.FlowLPH, *r.Commissioned.FlowRateLPH, 0.51)
		assert.Len(t, r.HeatingCurve.Points, len(p.Control.Curve))
		assert.InDelta(t, p.Design.HeatLossKW, *r.Design.HeatLossKW, 0.006)
	}
}

func TestValidateNamesWhatIsWrong(t *testing.T) {
	for want, spoil := range map[string]func(*rig.Plant){
		"needs an ID":                func(p *rig.Plant) { p.ID = "" },
		`time zone "Mars/Olympus"`:   func(p *rig.Plant) { p.TimeZone = "Mars/Olympus" },
		"heat loss in W/K is 0":      func(p *rig.Plant) { p.House.HeatLossWPerK = 0 },
		"emitter exponent is NaN":    func(p *rig.Plant) { p.Emitters.Exponent = math.NaN() },
		"needs two":                  func(p *rig.Plant) { p.Control.Curve = p.Control.Curve[:1] },
		"must rise":                  func(p *rig.Plant) { p.Control.Curve[1].OutdoorC = -30 },
		`defrost style "wind"`:       func(p *rig.Plant) { p.Defrost.Style = "wind" },
		`trouble "gremlins"`:         func(p *rig.Plant) { p.Troubles = []rig.Trouble{{Kind: "gremlins"}} },
		"is a share":                 func(p *rig.Plant) { p.Troubles = []rig.Trouble{{Kind: rig.LowFlow, Size: 2}} },
		`no "floor_temp" to publish`: func(p *rig.Plant) { p.Metering.Quantities = []ingest.Quantity{ingest.FloorTemp} },
		"step in s is 60":            func(p *rig.Plant) { p.Step = time.Minute },
		"minimum heat in kW":         func(p *rig.Plant) { p.HeatPump.MinimumHeatKW = 40 },
		`climate "`:                  func(p *rig.Plant) { p.Climate.Cloud = 7 },
	} {
		p := rig.Houses()[0]
		spoil(&p)
		_, err := rig.New(p, winter)
		require.ErrorContains(t, err, want)
	}
}

func TestCSVIsAsTheLoaderWantsIt(t *testing.T) {
	at := time.Date(2025, 1, 10, 12, 0, 0, 0, time.UTC)
	read := func(c ingest.Channel, after time.Duration, v float64) ingest.Reading {
		return ingest.Reading{Site: "x", Channel: c, Time: at.Add(after), Value: v}
	}
	var out strings.Builder
	require.NoError(t, rig.WriteCSV(&out, read("flow_temp", 0, 35.2), read("mode", 0, 1), read("room_temp/bath", 0, 21),
		read("flow_temp", 10*time.Second, 35), read("flow_temp", 20500*time.Millisecond, 34.9), read("mode", 20500*time.Millisecond, 3)))
	assert.Equal(t, "time,flow_temp_c,mode,room_temp/bath_c\n"+
		"2025-01-10T12:00:00Z,35.2,heating,21\n"+
		"2025-01-10T12:00:10Z,35,,\n"+
		"2025-01-10T12:00:20.500Z,34.9,defrost,\n", out.String())
	header, _, _ := strings.Cut(out.String(), "\n")
	for _, name := range strings.Split(header, ",")[1:] {
		_, _, err := ingest.ParseColumn(name)
		assert.NoError(t, err)
	}
	c := rig.NewCSV(&out, []ingest.Channel{"power"})
	c.Add(read("flow_temp", 0, 1))
	require.ErrorContains(t, c.Flush(), `no column for channel "flow_temp"`)
}
