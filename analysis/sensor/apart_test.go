package sensor_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/scenario"
	"coldweek/analysis/sensor"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// sensorTroubles are what this package is for; the others are no business of
// its.
var sensorTroubles = []rig.Kind{
	rig.SwappedSensors, rig.SensorOffset, rig.OutdoorStuck, rig.OutdoorJumping, rig.OutdoorDrifting, rig.OutdoorSunStruck,
	rig.WrongFlowUnit, rig.WrongPowerUnit, rig.RegisterDisagrees, rig.ClockOffset, rig.ClockJumps,
}

// Source: the rig's truth. A plant that runs badly, is silent, or whose
// publisher sends rubbish has sensors that are right.
func TestPlantTroublesAreNoSensorFaults(t *testing.T) {
	looked := 0
	for _, kind := range rig.Kinds() {
		if slices.Contains(sensorTroubles, kind.Kind) {
			continue
		}
		for seed := uint64(1); seed <= uint64(min(10, 1+fewPlants())); seed++ {
			p := rig.Random(seed)
			p.Metering.Interval, p.Metering.Quantities = time.Minute, nil
			at := onset(time.January, seed)
			trouble := rig.Trouble{Kind: kind.Kind, At: at}
			if kind.Kind == rig.Silent {
				trouble.Size = 4 // hours: the outage ends within the day
			}
			p.Troubles = []rig.Trouble{trouble}
			assert.Empty(t, around(t, p, at, nil).check(at.Add(afterOnset)), "%s at %s", kind.Kind, p.ID)
			looked++
		}
	}
	t.Logf("no suspicion in %d days of plants in trouble", looked)
}

// script is a day's part in the shorthand of the scenarios.
func script(t *testing.T, text string) []sensor.Suspicion {
	t.Helper()
	s, err := scenario.Parse(text)
	require.NoError(t, err)
	tr := trace.Build(s.Columns, s.From, s.To(), trace.Options{})
	return sensor.Check(tr, operation.Detect(tr), sensor.Known{})
}

func kinds(found []sensor.Suspicion) (all []sensor.Kind) {
	for _, s := range found {
		all = append(all, s.Kind)
	}
	return all
}

// Source: the definition of each. Heating with the return warmer than the flow
// is a swap; the same in cold water is cooling; for some minutes in every hour
// it is a defrost or the valve's changeover.
func TestSwappedIsToldFromWhatLooksLikeIt(t *testing.T) {
	assert.Equal(t, []sensor.Kind{sensor.Swapped}, kinds(script(t, `
from 2026-01-14 06:00 Europe/London every 30s
power        12*20  1500*90   12*20
flow_rate    0*20   1000*90   0*20
flow_temp    30*20  30>33*10  33*80   33*20
return_temp  30*20  30>38*10  38*80   38*20
outdoor_temp 2*130
`)), "45 minutes of running are enough")
	assert.Empty(t, script(t, `
from 2026-07-14 12:00 Europe/London every 30s
power        12*20  900*400   12*20
flow_rate    0*20   1000*400  0*20
flow_temp    22*20  22>14*20  14*380  20*20
return_temp  22*20  22>18*20  18*380  20*20
outdoor_temp 29*440
`), "cooling")
	assert.Empty(t, script(t, `
from 2026-01-14 06:00 Europe/London every 30s
mode         off*20 heating*120 defrost*28 heating*70 defrost*28 heating*70 defrost*28 heating*70
power        12*20  1500*120    700*28     1500*70    700*28     1500*70    700*28     1500*70
flow_rate    0*20   1000*120    1000*28    1000*70    1000*28    1000*70    1000*28    1000*70
flow_temp    30*20  38*120      30*28      38*70      30*28      38*70      30*28      38*70
return_temp  30*20  33*120      34*28      33*70      34*28      33*70      34*28      33*70
outdoor_temp 1*434
`), "three long defrosts")
	assert.Empty(t, script(t, `
from 2026-01-14 06:00 Europe/London every 30s
power        12*20  1500*60  1800*80      1500*80
flow_rate    0*20   1000*60  1000*80      1000*80
flow_temp    30*20  36*60    40>55*80     33*8 36*72
return_temp  30*20  31*60    46*4 35>50*76 48*8 31*72
outdoor_temp 2*240
`), "changeovers to hot water and back")
}

// Source: offsets of the scripts; 1000 l/h for the heat. A pause with the pump
// on shows the offset, one with the pump off shows nothing.
func TestPairOffsetNeedsMovingWater(t *testing.T) {
	found := script(t, `
from 2026-01-14 06:00 Europe/London every 30s
power        1500*200  60*100     1500*100
flow_rate    1000*400
flow_temp    36*200    31.8*100   36*100
return_temp  31*200    31.0*100   31*100
outdoor_temp 5*400
`)
	require.Equal(t, []sensor.Kind{sensor.PairOffset}, kinds(found))
	s := found[0]
	// At rest the flow pipe loses some 2.5 W/K to 27 K of cold: 0.06 K at 1000 l/h.
	assert.InDelta(t, 0.8+0.06, s.Size, 0.02)
	assert.Less(t, s.High-s.Low, 0.4)
	// 5 K are shown where 5 - 0.86 K are: 20.7 % too much.
	assert.InDelta(t, 100*0.86/(5-0.86), s.Effect.HeatPct, 1)
	assert.Equal(t, s.Effect.HeatPct, s.Effect.SPFPct)
	assert.Empty(t, script(t, `
from 2026-01-14 06:00 Europe/London every 30s
power        1500*200  12*100     1500*100
flow_rate    1000*200  0*100      1000*100
flow_temp    36*200    31.8*100   36*100
return_temp  31*200    31.0*100   31*100
outdoor_temp 5*400
`), "standing water cools as its pipes do")
}

// What is taken off already is named, and only the rest is reported.
func TestPairOffsetAlreadyTakenOff(t *testing.T) {
	p := rig.Random(11)
	at := onset(time.January, 11)
	p.Troubles = []rig.Trouble{{Kind: rig.SensorOffset, Size: 1}}
	s := around(t, p, at, nil)
	for _, takenK := range []float64{1, 0.4} {
		opt := options(p)
		opt.PairOffsetK = takenK
		tr := trace.Build(s.columns, s.low, at.Add(afterOnset), opt)
		k := known(p)
		k.PairOffsetK = takenK
		found := sensor.Check(tr, operation.Detect(tr), k)
		if takenK == 1 {
			assert.Empty(t, found)
			continue
		}
		require.Equal(t, []sensor.Kind{sensor.PairOffset}, kinds(found))
		assert.InDelta(t, 0.6+p.Metering.PairOffsetK, found[0].Size, 0.1)
		assert.Contains(t, found[0].Detail, "+0.40 K is taken off already")
	}
}

// Source: the rig's truth, and physics: what a healthy plant can show as well
// is not suspected.
func TestWhatADayCannotTell(t *testing.T) {
	look := func(seed uint64, kind rig.Kind, size float64, month time.Month, quantities ...ingest.Quantity) []sensor.Suspicion {
		p := rig.Random(seed)
		at := onset(month, seed)
		p.Troubles = []rig.Trouble{{Kind: kind, Size: size}} // from long before
		if quantities != nil {
			p.Metering.Quantities = quantities
		}
		return around(t, p, at, nil).check(at.Add(afterOnset))
	}
	bare := []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp, ingest.RoomTemp}
	assert.Empty(t, look(7, rig.SensorOffset, 1, time.January), "the compressor never rests with the pump on")
	assert.Empty(t, look(3, rig.OutdoorDrifting, 0.3, time.January), "0.3 K a day is no weather either")
	assert.Empty(t, look(10, rig.ClockOffset, 2, time.January, bare...), "no jump, no light, no schedule")
	assert.Empty(t, look(4, rig.ClockOffset, 1, time.January), "an hour is within twilight and walls")
	lit := append(slices.Clone(bare), ingest.Irradiance)
	found := look(10, rig.ClockOffset, 2, time.January, lit...)
	if assert.Equal(t, []sensor.Kind{sensor.ClockOffset}, kinds(found), "with irradiance and the place") {
		assert.True(t, found[0].Low < 2 && 2 < found[0].High && found[0].High-found[0].Low < 4, "%+v", found[0])
		assert.False(t, math.Signbit(found[0].Low), "ahead, surely")
	}
}

// Source: in a test reference year of Germany and one of Chicago the stillest 18
// hours ranged over 0.5 K. Sensors of 0.1 K that stand still show one step or two.
func TestFogIsNoStuckSensor(t *testing.T) {
	assert.Empty(t, script(t, `
from 2026-11-14 00:00 Europe/London every 10m
outdoor_temp 2.0>2.5*72  2.5>2.1*72
`), "fog")
	assert.Empty(t, script(t, `
from 2026-11-14 00:00 Europe/London every 10m
outdoor_temp 1*40 2.0*100 3*40
`), "fog of 17 hours")
	found := script(t, `
from 2026-11-14 00:00 Europe/London every 10m
outdoor_temp 4>2*24 2.0*3 2.1*60 2.0*57
`)
	require.Equal(t, []sensor.Kind{sensor.Stuck}, kinds(found))
	assert.InDelta(t, 20, found[0].Size, 1)
}

// Source: how both look. A front passes once; a loose wire comes and goes.
func TestFrontIsNoJumpingSensor(t *testing.T) {
	assert.Empty(t, script(t, `
from 2026-07-14 00:00 Europe/London every 10m
outdoor_temp 18>29*90 20*3 22*3 17>14*48
`), "thunderstorm")
	found := script(t, `
from 2026-07-14 00:00 Europe/London every 10m
outdoor_temp 18*20 24*2 18*20 11*3 18*30 25*2 18*40
`)
	require.Equal(t, []sensor.Kind{sensor.Jumping}, kinds(found))
	assert.InDelta(t, 7, found[0].Size, 1)
}

// A publisher that is asked more often for two hours has no wrong clock, nor has
// one that was down for two hours.
func TestDenserAndMissingReadingsAreNoClockFault(t *testing.T) {
	p := rig.Random(11)
	p.Metering.Interval, p.Metering.SlowInterval, p.Metering.Quantities, p.Metering.Jitter = 30*time.Second, 30*time.Second, nil, 0
	at := onset(time.January, 11)
	s := around(t, p, at, nil)
	dense := func(ms int64) bool { return ms >= at.UnixMilli() && ms < at.Add(2*time.Hour).UnixMilli() }
	down := func(ms int64) bool {
		return ms >= at.Add(8*time.Hour).UnixMilli() && ms < at.Add(10*time.Hour).UnixMilli()
	}
	for i, c := range s.columns {
		kept := ingest.Column{Channel: c.Channel}
		for k, ms := range c.UnixMS {
			if (dense(ms) || ms/30_000%2 == 0) && !down(ms) {
				kept.UnixMS, kept.Value = append(kept.UnixMS, ms), append(kept.Value, c.Value[k])
			}
		}
		s.columns[i] = kept
	}
	assert.Empty(t, s.check(at.Add(afterOnset)))
}

// Source: what was done to the readings. Fallen back by two hours and half a
// beat, readings lie in the middle between each other, as those of a busier
// publisher do; but registers go to and fro.
func TestClockFallenBackOntoHalfABeat(t *testing.T) {
	p := everything(11)
	p.Metering.Jitter = 0
	at := onset(time.January, 11)
	back := 2*time.Hour + 30*time.Second
	s := around(t, p, at, func(r *ingest.Reading) bool {
		r.Time = r.Time.Add(-back)
		return true
	})
	found := s.check(at.Add(afterOnset))
	require.Equal(t, []sensor.Kind{sensor.ClockOffset}, kinds(found))
	assert.InDelta(t, -back.Hours(), found[0].Size, 0.1)
}

// One register that leaps is one register, not the time.
func TestOneLeapingRegisterIsNoClockFault(t *testing.T) {
	at := onset(time.January, 11)
	s := around(t, everything(11), at, func(r *ingest.Reading) bool {
		if r.Channel == "heat_register" {
			r.Value += 12
		}
		return true
	})
	assert.Empty(t, s.check(at.Add(afterOnset)))
}

// Source: the formulae of the script. Air under a clear April sky swings 5 K to
// either side, warmest at half past two, which is 3.4 K for 600 W/m² by the fit;
// sun on the sensor lifts it by 8 K at 600 W/m² at once.
func TestAirThatWarmsIsNoSunOnTheSensor(t *testing.T) {
	place := sensor.Place{LatitudeDeg: 50}
	midnight := time.Date(2026, 4, 14, 0, 0, 0, 0, time.UTC)
	day := func(swingK, sunK float64, irradiance bool) []sensor.Suspicion {
		outdoor, sun := ingest.Column{Channel: "outdoor_temp"}, ingest.Column{Channel: "irradiance"}
		for ms := int64(0); ms < 24*3600*1000; ms += 300_000 {
			hourH := float64(ms) / 3.6e6
			light := max(0, 850*math.Cos((hourH-12)*math.Pi/13.5)) // up for 13.5 h
			outdoor.UnixMS = append(outdoor.UnixMS, midnight.UnixMilli()+ms)
			outdoor.Value = append(outdoor.Value, 9+swingK*math.Cos((hourH-14.5)*math.Pi/12)+sunK*light/600)
			sun.UnixMS, sun.Value = append(sun.UnixMS, midnight.UnixMilli()+ms), append(sun.Value, light)
		}
		columns := []ingest.Column{outdoor}
		if irradiance {
			columns = append(columns, sun)
		}
		tr := trace.Build(columns, midnight, midnight.AddDate(0, 0, 1), trace.Options{})
		return sensor.Check(tr, operation.Detect(tr), sensor.Known{Place: &place})
	}
	for _, irradiance := range []bool{true, false} {
		assert.Empty(t, day(5, 0, irradiance))
		found := day(5, 8, irradiance)
		if assert.Equal(t, []sensor.Kind{sensor.SunStruck}, kinds(found)) {
			assert.True(t, found[0].Low < 8*850/600 && 8*850/600 < found[0].High, "%+v", found[0])
		}
	}
}
