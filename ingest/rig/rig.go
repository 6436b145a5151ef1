package rig

import (
	"fmt"
	"math/rand/v2"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig/weather"
)

// Rig is a plant at work. It is not safe for concurrent use.
type Rig struct {
	plant   Plant
	zone    *time.Location
	startMS int64
	nowMS   int64
	stepMS  int64
	stepS   float64
	onsetMS []int64
	kindOf  []int // row in kinds of each trouble
	eff     effects
	shrunk  float64 // loop volume factor in force

	sky                      weather.Source
	hourA, hourB             weather.Hour
	hourMS                   int64 // of hourB
	outdoorC, humidityPct    float64
	irradianceWPerM2         float64
	sensedC                  float64 // by the outdoor sensor
	gainsW                   float64
	hourH                    float64 // local hour of the day
	weekday                  time.Weekday
	date                     string
	midnightMS               int64 // the next local one
	nextMinuteMS, nextLookMS int64
	house                    house
	loop                     loop
	machine                  machine
	cylinder                 cylinder
	cylinderSeenC            float64
	ctl                      controller
	pumpLPH                  float64
	ledger                   ledger
	tele                     telemetry
	chance                   *rand.Rand // of the plant
	jumpK                    float64
	clockJumpMS              int64
	entry                    entry
	startHouseJ, startWaterJ float64
}

const (
	defaultStep = 2 * time.Second
	minuteMS    = 60_000
	hourInMS    = 3_600_000
	defaultFast = 10 * time.Second
	defaultSlow = time.Minute
	pumpFollowS = 8.0
	standingLPH = 5.0
)

// New starts a plant at a time. The error says which of its parameters is
// impossible.
func New(p Plant, start time.Time) (*Rig, error) {
	if err := p.Validate(); err != nil {
		return nil, fmt.Errorf("rig %q: %w", p.ID, err)
	}
	zone, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("rig %q: time zone %q: %w", p.ID, p.TimeZone, err)
	}
	step := p.Step
	if step == 0 {
		step = defaultStep
	}
	startMS := start.UnixMilli()
	r := &Rig{
		plant: p, zone: zone, startMS: startMS, nowMS: startMS,
		stepMS: step.Milliseconds(), stepS: step.Seconds(), shrunk: 1,
		chance: rand.New(rand.NewPCG(p.Seed, 0x706c616e74)),
	}
	r.placeTroubles(start)
	r.openSky(start)
	r.feelTroubles()
	r.house = newHouse(p.House, r.outdoorC)
	r.loop = newLoop(&r.plant)
	r.machine = newMachine(&r.plant)
	r.cylinder = newCylinder(&r.plant)
	r.cylinderSeenC = r.cylinder.waterC
	r.ctl.season = r.outdoorC < p.Control.HeatingLimitC
	r.ctl.hygieneDoneMS = startMS - 7*msPerDay
	r.startHouseJ, r.startWaterJ = r.house.storedJ(), r.loop.storedJ()
	r.tele = newTelemetry(&r.plant, startMS, step)
	return r, nil
}

func (r *Rig) placeTroubles(start time.Time) {
	for _, t := range r.plant.Troubles {
		r.onsetMS = append(r.onsetMS, t.onset(start).UnixMilli())
		for row := range kinds {
			if kinds[row].Kind == t.Kind {
				r.kindOf = append(r.kindOf, row)
			}
		}
	}
}

// openSky begins the weather in the hour before the start.
func (r *Rig) openSky(start time.Time) {
	p := &r.plant
	hour := start.UTC().Truncate(time.Hour)
	if len(p.Hours) > 0 {
		first := 0
		if !p.HoursFrom.IsZero() {
			first = int(hour.Sub(p.HoursFrom.UTC().Truncate(time.Hour)) / time.Hour)
		}
		r.sky = weather.NewSeries(p.Hours, first)
	} else {
		r.sky = weather.NewSynthetic(p.Climate, p.LatitudeDeg, p.LongitudeDeg, hour, p.Seed)
	}
	r.hourA, r.hourB = r.sky.Next(), r.sky.Next()
	r.hourMS = hour.UnixMilli() + hourInMS
	r.readSky()
	r.sensedC = r.outdoorC
	r.ctl.dampedC, r.ctl.dayMeanC = r.outdoorC, r.outdoorC
}

func (r *Rig) readSky() {
	for r.nowMS >= r.hourMS {
		r.hourA, r.hourB = r.hourB, r.sky.Next()
		r.hourMS += hourInMS
	}
	h := weather.Between(r.hourA, r.hourB, 1-float64(r.hourMS-r.nowMS)/hourInMS)
	r.outdoorC, r.humidityPct, r.irradianceWPerM2 = h.OutdoorC, h.HumidityPct, h.IrradianceWPerM2
}

// Columns advances to a time and returns the readings since the last call by
// channel, channels in the order in which they first came. Of a plant whose clock is sound they are in
// order of time.
func (r *Rig) Columns(until time.Time) []ingest.Column {
	place := map[ingest.Channel]int{}
	var columns []ingest.Column
	r.Advance(until, func(reading ingest.Reading) {
		i, known := place[reading.Channel]
		if !known {
			i = len(columns)
			place[reading.Channel] = i
			columns = append(columns, ingest.Column{Channel: reading.Channel})
		}
		columns[i].UnixMS = append(columns[i].UnixMS, reading.Time.UnixMilli())
		columns[i].Value = append(columns[i].Value, reading.Value)
	})
	return columns
}

// Plant returns what the rig runs.
func (r *Rig) Plant() Plant { return r.plant }

// Now is how far the rig has come.
func (r *Rig) Now() time.Time { return r.time(r.nowMS) }

func (r *Rig) time(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// Advance simulates on until the time and hands out the readings in the order
// they were taken. A publisher whose clock is wrong stamps them with its own
// time. What does not fill a step waits for the next call. With a nil emit no instrument is read, which is faster; the noise of
// later readings is then another.
func (r *Rig) Advance(until time.Time, emit func(ingest.Reading)) {
	untilMS := until.UnixMilli()
	for r.nowMS+r.stepMS <= untilMS {
		if r.nowMS >= r.nextMinuteMS {
			r.minute()
		}
		if r.nowMS >= r.nextLookMS {
			r.control()
			r.machine.settle(r.outdoorC, r.loop.hxC, &r.eff)
			r.loop.linearise(r.house.airC)
			r.tele.feedSlow(r)
			r.nextLookMS = r.nowMS + controlEvery.Milliseconds()
		}
		r.step()
		r.nowMS += r.stepMS
		if r.tele.nextMS < r.nowMS {
			r.tele.emit(r, emit)
		}
	}
}

// minute refreshes what changes slowly.
func (r *Rig) minute() {
	r.nextMinuteMS = (r.nowMS/minuteMS + 1) * minuteMS
	r.readSky()
	r.feelTroubles()
	if r.eff.loopVolumeShare != r.shrunk {
		r.loop.resize(r.eff.loopVolumeShare / r.shrunk)
		r.shrunk = r.eff.loopVolumeShare
	}
	r.loop.coilWPerK = r.plant.HotWater.CoilWPerK * r.eff.coil
	local := r.time(r.nowMS).In(r.zone)
	r.hourH = float64(local.Hour()) + float64(local.Minute())/60
	if r.nowMS >= r.midnightMS {
		r.newDay(local)
	}
	h := &r.plant.House
	r.gainsW = h.GainsW*gainShare(r.hourH) + h.SolarApertureM2*r.irradianceWPerM2
	r.senseOutdoor()
	r.ctl.dampedC += (r.sensedC - r.ctl.dampedC) * dampPerMinute(r.plant.Control.DampingH)
	r.ctl.dayMeanC += (r.sensedC - r.ctl.dayMeanC) * dampPerMinute(24)
	r.machine.refreshFrost(r.outdoorC, r.humidityPct)
}

// dampPerMinute is the share a damped temperature follows in a minute.
func dampPerMinute(hoursH float64) float64 { return min(1, 1/(1+60*hoursH)) }

func (r *Rig) newDay(local time.Time) {
	if r.date != "" {
		r.ledger.endDay(r.date)
	}
	y, m, d := local.Date()
	r.date, r.weekday = local.Format(time.DateOnly), local.Weekday()
	r.midnightMS = time.Date(y, m, d+1, 0, 0, 0, 0, r.zone).UnixMilli()
	dayMS := time.Date(y, m, d, 0, 0, 0, 0, r.zone).UnixMilli()
	if r.plant.HotWater.CylinderL > 0 {
		r.cylinder.planDay(dayMS, r.plant.HotWater.DailyKWh)
		r.cylinder.skipBefore(r.nowMS)
	}
}

// senseOutdoor is what the outdoor sensor makes of the weather; the controller
// believes it.
func (r *Rig) senseOutdoor() {
	if r.eff.outdoorStuck {
		return
	}
	if r.eff.outdoorJumpK > 0 && r.chance.Float64() < 0.1 {
		r.jumpK = 0
		if r.chance.Float64() < 0.5 {
			r.jumpK = r.eff.outdoorJumpK * (2*r.chance.Float64() - 1)
		}
	}
	r.sensedC = r.outdoorC + r.eff.outdoorDriftK + r.eff.outdoorSunK*r.irradianceWPerM2/600
	if r.eff.outdoorJumpK > 0 {
		r.sensedC += r.jumpK
	}
	if r.eff.clockJumpMS > 0 && r.chance.Float64() < 1.0/180 {
		r.clockJumpMS = int64(r.eff.clockJumpMS * (2*r.chance.Float64() - 1))
	}
}

// step is one step of everything physical.
func (r *Rig) step() {
	p, e := &r.plant, &r.entry
	r.loop.flowLPH += (r.pumpLPH - r.loop.flowLPH) * r.stepS / pumpFollowS
	if r.pumpLPH == 0 && r.loop.flowLPH < standingLPH {
		r.loop.flowLPH = 0
	}
	flowC := r.loop.hxC
	heatW, machineW := r.machine.step(r.stepS, r.outdoorC, flowC, &r.eff)
	backupW, immersionW, afterW := r.backupW(), 0.0, 0.0
	if r.ctl.immersion {
		immersionW = p.HotWater.ImmersionKW * 1e3
	}
	if p.Backup.AfterSensors {
		afterW = backupW
	}
	f := r.loop.step(r.stepS, heatW+backupW-afterW, afterW, r.outdoorC, r.house.airC, r.cylinder.waterC, r.ctl.toCylinder)
	lossW := r.house.step(r.stepS, f.emittedW+r.gainsW, r.outdoorC)
	drawW := 0.0
	if p.HotWater.CylinderL > 0 {
		drawW, _ = r.cylinder.step(r.nowMS, r.stepS, f.coilW+immersionW)
	}
	*e = entry{
		fromMS: r.nowMS, stepS: r.stepS, phase: r.machine.phase, toCylinder: r.ctl.toCylinder, style: p.Defrost.Style,
		sensorW: f.sensorW, afterW: afterW, flowC: flowC, outdoorC: r.outdoorC, frostKg: r.machine.frostKg, roomC: r.house.airC,
		gainsW: r.gainsW, lossW: lossW, emittedW: f.emittedW, coilW: f.coilW, drawW: drawW,
		heaterInFlow: backupW > 0,
	}
	r.meterElectricity(e, machineW, backupW+immersionW)
	r.ledger.book(e, r.time)
	r.tele.integrate(r, e)
	r.tele.feedFast(r)
}

// meterElectricity splits what runs into what the meter sees and what not.
func (r *Rig) meterElectricity(e *entry, machineW, heatersW float64) {
	pumpW := r.pumpW()
	e.electricW = machineW + r.plant.HeatPump.StandbyW
	if r.plant.Metering.PumpNotMetered {
		e.unmeteredW += pumpW
	} else {
		e.electricW += pumpW
	}
	if r.plant.Metering.BackupNotMetered {
		e.unmeteredW += heatersW
	} else {
		e.backupW = heatersW
	}
	r.tele.pumpW, r.tele.heatersW = pumpW, heatersW
}

// pumpW follows the flow: a third of it is the motor's own.
func (r *Rig) pumpW() float64 {
	if r.loop.flowLPH == 0 {
		return 0
	}
	share := r.loop.flowLPH / r.plant.Loop.FlowLPH
	return r.plant.Loop.PumpW * (1 + 2*min(2, share*share)) / 3
}
