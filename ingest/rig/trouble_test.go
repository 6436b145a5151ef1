package rig_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// pair is a plant with a trouble and the same plant without.
type pair struct{ ill, well played }

// both plays a plant with and without its troubles.
func both(t *testing.T, p rig.Plant, days float64) pair {
	t.Helper()
	well := p
	well.Troubles = nil
	return pair{play(t, p, winter, days), play(t, well, winter, days)}
}

func running(p played, c ingest.Channel) []float64 { return p.while(c, "power", above(300)) }

func starts(p played) float64 { return float64(p.truth.Starts) }

func last(readings []ingest.Reading) float64 { return readings[len(readings)-1].Value }

// outdoorGap is what two plants' outdoor sensors differ by, sample by sample.
func (p pair) outdoorGap() (gapsK []float64) {
	for i, r := range p.ill.readings["outdoor_temp"] {
		gapsK = append(gapsK, r.Value-p.well.readings["outdoor_temp"][i].Value)
	}
	return gapsK
}

// troubleShows says for each kind how a reader of the channels sees it, at its
// usual size unless given. Sources: the sizes asked for.
var troubleShows = map[rig.Kind]func(t *testing.T, trouble rig.Trouble){
	rig.LowFlow: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, good(2, 40, trouble), 1)
		assert.InEpsilon(t, 0.5*median(running(p.well, "flow_rate")), median(running(p.ill, "flow_rate")), 0.05)
		assert.Greater(t, median(values(p.ill.difference())), 1.5*median(values(p.well.difference())))
	},
	rig.BlockingStrainer: func(t *testing.T, trouble rig.Trouble) {
		flow := play(t, good(2, 40, trouble), winter, 20).readings["flow_rate"]
		n := len(flow)
		first, end := median(values(flow[:n/20])), median(values(flow[19*n/20:]))
		assert.InEpsilon(t, first*(1-0.01*19)/(1-0.01*0), end, 0.02)
	},
	rig.FlowStep: func(t *testing.T, trouble rig.Trouble) {
		trouble.After = 24 * time.Hour
		flow := play(t, dry(2, trouble), winter, 2).readings["flow_rate"]
		n := len(flow)
		assert.InEpsilon(t, 0.7*median(values(flow[:n/2])), median(values(flow[n/2+10:])), 0.02)
	},
	rig.OversizedMinimum: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(9, trouble), 2)
		assert.Greater(t, starts(p.ill), 4*starts(p.well))
	},
	rig.TooLittleWater: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(13, trouble), 3)
		assert.Greater(t, starts(p.ill), 1.6*starts(p.well))
		assert.Less(t, median(heatingRuns(p.ill.truth)), 0.7*median(heatingRuns(p.well.truth)))
	},
	rig.ThermostatChopping: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(5, trouble), 2)
		assert.InDelta(t, 72, starts(p.ill)/2, 8, "one in 20 min")
		assert.Less(t, starts(p.well), 6.0)
	},
	rig.TightHysteresis: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(12, trouble), 2)
		assert.Greater(t, starts(p.ill), 2*starts(p.well))
	},
	rig.DefrostTooOften: func(t *testing.T, trouble rig.Trouble) {
		count, _, intervalMin := defrostsIn(t, dry(1, trouble))
		assert.InDelta(t, 28, intervalMin, 4, "25 min of running and the defrost")
		healthy, _, _ := defrostsIn(t, dry(1))
		assert.Greater(t, count, 10*max(1, healthy))
	},
	rig.DefrostTooLong: func(t *testing.T, trouble rig.Trouble) {
		_, lengthMin, _ := defrostsIn(t, good(0, 92, trouble))
		assert.InDelta(t, 14.5, lengthMin, 1)
	},
	rig.DefrostInMild: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, good(10, 60, trouble), 1)
		seen := p.ill.while("outdoor_temp", "mode", func(v float64) bool { return v == 3 })
		require.NotEmpty(t, seen)
		assert.Greater(t, slices.Min(seen), 9.0)
		assert.Empty(t, p.well.truth.Defrosts)
	},
	rig.DefrostNotClearing: func(t *testing.T, trouble rig.Trouble) {
		ill, _, _ := defrostsIn(t, good(0, 92, trouble))
		healthy, _, _ := defrostsIn(t, good(0, 92))
		assert.Greater(t, float64(ill), 1.5*float64(healthy))
		p := both(t, good(0, 92, trouble), 1)
		for i, out := range []played{p.ill, p.well} {
			left := make([]float64, 0, len(out.truth.Defrosts))
			for _, d := range out.truth.Defrosts {
				left = append(left, d.LeftKg/d.FrostKg)
			}
			assert.InDelta(t, []float64{0.7, 0}[i], median(left), 0.05, "share of the frost that is left")
		}
	},
	rig.LostRefrigerant: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(-3, trouble), 2)
		short := func(out played) float64 {
			return median(running(out, "flow_target")) - median(running(out, "flow_temp"))
		}
		assert.Greater(t, short(p.ill), 3.0)
		assert.Less(t, short(p.well), 1.0)
		assert.Greater(t, last(p.well.readings["heat_register"])/last(p.well.readings["electricity_register"]), 0.0)
		assert.Less(t, p.ill.truth.Heat.SpaceKWh/p.ill.truth.Electricity.SpaceKWh, 0.85*p.well.truth.Heat.SpaceKWh/p.well.truth.Electricity.SpaceKWh)
	},
	rig.RoomBelowSet: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 8)
		assert.Less(t, last(p.ill.readings["room_temp/kitchen"]), last(p.well.readings["room_temp/kitchen"])-1.5)
	},
	rig.CurveTooHigh: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 6)
		assert.Greater(t, last(p.ill.readings["room_temp/kitchen"]), last(p.well.readings["room_temp/kitchen"])+1)
		assert.Greater(t, median(values(p.ill.readings["flow_target"])), median(values(p.well.readings["flow_target"]))+3)
	},
	rig.CurveNotFollowed: func(t *testing.T, trouble rig.Trouble) {
		for _, outdoorC := range []float64{-2, 8} {
			out := play(t, dry(outdoorC, trouble), winter, 1)
			assert.InDelta(t, 45, median(values(out.readings["flow_target"])), 0.1)
			assert.InDelta(t, 45, median(running(out, "flow_temp")), 3.5)
		}
	},
	rig.OnOffControl: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(5, trouble), 1)
		assert.InDelta(t, 90, median(running(p.ill, "compressor_speed")), 2, "full speed")
		assert.Less(t, median(running(p.well, "compressor_speed")), 60.0)
		assert.Greater(t, starts(p.ill), 4*starts(p.well))
	},
	rig.NeedlessBackup: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(5, trouble), 1)
		assert.Greater(t, mean(values(p.ill.readings["backup_power"])), 300.0)
		assert.Zero(t, slices.Max(values(p.well.readings["backup_power"])))
	},
	rig.HotWaterSlow: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, good(5, 40, trouble), 3)
		assert.Greater(t, hotWaterMinutes(p.ill), 1.5*hotWaterMinutes(p.well))
		hot := func(out played) float64 {
			return median(out.while("flow_temp", "mode", func(v float64) bool { return v == 2 }))
		}
		assert.Greater(t, hot(p.ill), hot(p.well)+4)
	},
	rig.HotWaterShort: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, good(5, 40, trouble), 2)
		end := func(out played) float64 {
			r := values(out.readings["cylinder_temp"])
			return slices.Max(r[len(r)/2:])
		}
		assert.Less(t, end(p.ill), 44.5)
		assert.Greater(t, end(p.well), 48.5)
	},
	rig.HygieneMissed: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, good(5, 40, trouble), 7)
		assert.Less(t, slices.Max(values(p.ill.readings["cylinder_temp"])), 51.0)
		assert.Greater(t, slices.Max(values(p.well.readings["cylinder_temp"])), 59.0)
	},
	rig.SwappedSensors: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 1)
		ill, well := values(p.ill.difference()), values(p.well.difference())
		assert.InDelta(t, -median(well), median(ill), 0.3)
		assert.Less(t, median(ill), -2.0)
	},
	rig.SensorOffset: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 1)
		assert.InDelta(t, median(values(p.well.difference()))+1, median(values(p.ill.difference())), 0.15)
		assert.InDelta(t, p.ill.truth.Heat.NetKWh, p.well.truth.Heat.NetKWh, 1e-9, "the truth is the same")
	},
	rig.OutdoorStuck: func(t *testing.T, trouble rig.Trouble) {
		p := rig.Houses()[0]
		p.Troubles = []rig.Trouble{trouble}
		out := both(t, p, 2)
		ill := values(out.ill.readings["outdoor_temp"])
		assert.Less(t, slices.Max(ill)-slices.Min(ill), 0.6, "noise alone")
		well := values(out.well.readings["outdoor_temp"])
		assert.Greater(t, slices.Max(well)-slices.Min(well), 2.0)
	},
	rig.OutdoorJumping: func(t *testing.T, trouble rig.Trouble) {
		ill := values(play(t, good(5, 40, trouble), winter, 1).readings["outdoor_temp"])
		jumps := 0
		for i := 1; i < len(ill); i++ {
			if math.Abs(ill[i]-ill[i-1]) > 0.7 {
				jumps++
			}
		}
		assert.Greater(t, jumps, 20)
	},
	rig.OutdoorDrifting: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, good(5, 40, trouble), 10)
		assert.InDelta(t, 3, median(p.outdoorGap()[9.5*1440:]), 0.2, "0.3 K a day")
	},
	rig.OutdoorSunStruck: func(t *testing.T, trouble rig.Trouble) {
		plant := good(5, 40, trouble)
		plant.Hours = append(slices.Repeat(plant.Hours, 12), slices.Repeat(plant.Hours, 12)...)
		for i := 8; i < 16; i++ {
			plant.Hours[i].IrradianceWPerM2 = 300
		}
		gaps := both(t, plant, 1).outdoorGap()
		assert.InDelta(t, 4, slices.Max(gaps), 0.4)
		assert.InDelta(t, 0, median(gaps[:6*60]), 0.01)
	},
	rig.WrongFlowUnit: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 0.5)
		assert.InEpsilon(t, 60, median(values(p.well.readings["flow_rate"]))/median(values(p.ill.readings["flow_rate"])), 0.01)
	},
	rig.WrongPowerUnit: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 0.5)
		assert.InEpsilon(t, 1000, median(values(p.well.readings["power"]))/median(values(p.ill.readings["power"])), 0.01)
	},
	rig.RegisterDisagrees: func(t *testing.T, trouble rig.Trouble) {
		out := play(t, dry(0, trouble), winter, 2)
		r := values(out.readings["electricity_register"])
		assert.InEpsilon(t, 1.15*out.truth.Electricity.TotalKWh, r[len(r)-1]-r[0], 0.01)
	},
	rig.ClockOffset: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(0, trouble), 0.2)
		for i, r := range p.ill.readings["flow_temp"] {
			require.Equal(t, 2*time.Hour, r.Time.Sub(p.well.readings["flow_temp"][i].Time))
		}
	},
	rig.ClockJumps: func(t *testing.T, trouble rig.Trouble) {
		back, ahead := 0, 0
		readings := play(t, dry(0, trouble), winter, 5).readings["flow_temp"]
		for i := 1; i < len(readings); i++ {
			switch step := readings[i].Time.Sub(readings[i-1].Time); {
			case step < 0:
				back++
			case step > time.Minute:
				ahead++
			}
		}
		assert.Greater(t, back, 5)
		assert.Greater(t, ahead, 5)
	},
	rig.NeedlessPump: func(t *testing.T, trouble rig.Trouble) {
		p := both(t, dry(22, trouble), 1)
		assert.Greater(t, slices.Min(values(p.ill.readings["flow_rate"][60:])), 900.0)
		assert.Less(t, median(values(p.well.readings["flow_rate"])), 1.0)
		assert.Zero(t, p.ill.truth.RunHours)
	},
	rig.Silent: func(t *testing.T, trouble rig.Trouble) {
		trouble.After, trouble.Size = 10*time.Hour, 5
		readings := play(t, dry(0, trouble), winter, 1).readings["power"]
		longest := time.Duration(0)
		for i := 1; i < len(readings); i++ {
			longest = max(longest, readings[i].Time.Sub(readings[i-1].Time))
		}
		assert.InDelta(t, 5, longest.Hours(), 0.05)
		trouble.Size = 0
		readings = play(t, dry(0, trouble), winter, 1).readings["power"]
		assert.InDelta(t, 10, readings[len(readings)-1].Time.Sub(winter).Hours(), 0.05)
	},
	rig.FrostDanger: func(t *testing.T, trouble rig.Trouble) {
		trouble.After = 2 * time.Hour
		out := play(t, good(-8, 60, trouble), winter, 2)
		assert.Zero(t, last(out.readings["flow_rate"]))
		assert.Less(t, last(out.readings["flow_temp"]), 2.0)
		assert.Less(t, last(out.readings["room_temp/kitchen"]), 18.0)
		assert.Less(t, last(out.readings["power"]), 20.0)
	},
	rig.GarbagePayloads: func(t *testing.T, trouble rig.Trouble) {
		out := play(t, dry(0, trouble), winter, 0.5)
		bad, all := 0, 0
		for c, readings := range out.readings {
			for _, r := range readings {
				all++
				if c.Quantity().CheckValue(r.Value) != nil {
					bad++
				}
			}
		}
		assert.InDelta(t, 0.05, float64(bad)/float64(all), 0.005)
	},
}

func hotWaterMinutes(p played) float64 {
	total := 0.0
	for _, r := range p.truth.HotWater {
		total += r.To.Sub(r.From).Minutes()
	}
	return total
}

func TestEveryTroubleShows(t *testing.T) {
	for _, info := range rig.Kinds() {
		shows, ok := troubleShows[info.Kind]
		require.True(t, ok, "no check for %q", info.Kind)
		require.NotEmpty(t, info.Doc)
		t.Run(string(info.Kind), func(t *testing.T) { shows(t, rig.Trouble{Kind: info.Kind}) })
	}
}

func TestTroublesBeginAtTheirOnset(t *testing.T) {
	at := winter.Add(6 * time.Hour)
	p := dry(0, rig.Trouble{Kind: rig.WrongPowerUnit, At: at})
	out := play(t, p, winter, 0.5)
	for _, r := range out.readings["power"] {
		if r.Value > 300 {
			require.False(t, r.Time.After(at.Add(time.Minute)), "at %v", r.Time)
		}
	}
	assert.Equal(t, []rig.Onset{{Kind: rig.WrongPowerUnit, At: at}}, out.truth.Troubles)
}
