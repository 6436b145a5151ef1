package job_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// sought is a trouble of the rig and the findings that tell of it, by the
// beginnings of their kinds: any of them will do.
type sought struct {
	trouble  rig.Kind
	size     float64
	findings []string
	promise  string // of promises; "" is none
	within   time.Duration
	month    time.Month
	shows    func(p *played, onset time.Time) time.Time // when what is wrong first had an effect; zero is never
	plant    func(seed uint64) rig.Plant                // nil is rig.Random
	sound    func(p *played, onset time.Time) bool      // what only some plants are before it; nil is all
	after    time.Duration                              // onset from the start; 0 is the span's
	plants   int                                        // of the forty; 0 is one
	few      bool                                       // in the ordinary run, too
}

// unknowable are the troubles that no rule can find, and why.
var unknowable = map[rig.Kind]string{
	rig.GarbagePayloads: "what is no number never becomes a reading: it is in the quarantine, and what is lost is a gap",
}

// promises are the median delays that are required of all rows of a name together.
var promises = map[string]struct {
	within  time.Duration
	running bool // of running time, not of time
}{
	"flow step":       {30 * time.Minute, true},
	"low flow":        {time.Hour, true},
	"short cycling":   {2 * time.Hour, false},
	"blocking 2 %":    {4 * 24 * time.Hour, false},
	"swapped sensors": {time.Hour, false},
}

// soughtTroubles are forty plants with a trouble each, by the family of rules that
// finds it.
func soughtTroubles() []sought {
	jan, apr, jul, day := time.January, time.April, time.July, 24*time.Hour
	anyDefrost := defrosts(func(rig.DefrostRun) bool { return true })
	cycling := func(k rig.Kind, few bool) sought {
		return sought{trouble: k, month: apr, findings: []string{"short_cycling"}, promise: "short cycling", shows: cycles, plant: lean, sound: calm, few: few}
	}
	return []sought{
		{trouble: rig.LowFlow, month: jan, findings: []string{"low_flow", "flow_stepped"}, promise: "low flow", shows: runs},
		{trouble: rig.FlowStep, month: jan, findings: []string{"flow_stepped"}, promise: "flow step", shows: runs, plants: 3, few: true},
		{trouble: rig.BlockingStrainer, size: 2, month: jan, findings: []string{"flow_falling", "low_flow"}, promise: "blocking 2 %", shows: runs, plants: 2, few: true},
		{trouble: rig.BlockingStrainer, size: 1, month: apr, findings: []string{"flow_falling", "low_flow"}, shows: runs},
		cycling(rig.OversizedMinimum, true),
		cycling(rig.TooLittleWater, false),
		cycling(rig.ThermostatChopping, false),
		cycling(rig.TightHysteresis, false),
		cycling(rig.OnOffControl, true),
		{trouble: rig.DefrostTooOften, month: jan, findings: []string{"defrost_often"}, shows: anyDefrost, few: true},
		{trouble: rig.DefrostTooLong, month: jan, findings: []string{"defrost_long"}, shows: anyDefrost},
		{trouble: rig.DefrostInMild, month: time.March, findings: []string{"defrost_mild", "defrost_often"}, shows: defrosts(func(d rig.DefrostRun) bool { return d.OutdoorC > 7 })},
		{trouble: rig.DefrostNotClearing, month: jan, findings: []string{"defrost_not_clearing", "defrost_often"}, shows: anyDefrost},
		{trouble: rig.SwappedSensors, month: jan, findings: []string{"pipes_swapped"}, promise: "swapped sensors", shows: runs, plants: 3, few: true},
		{trouble: rig.SensorOffset, month: apr, findings: []string{"sensor_pair_offset"}, shows: atOnce},
		{trouble: rig.OutdoorStuck, month: jan, findings: []string{"sensor_stuck/outdoor_temp"}, shows: runs},
		{trouble: rig.OutdoorJumping, month: jan, findings: []string{"sensor_jumping/outdoor_temp"}, shows: runs},
		{trouble: rig.OutdoorDrifting, size: 0.5, after: 4 * day, month: jan, findings: []string{"sensor_drifting/outdoor_temp"}, shows: runs, plant: everything},
		{trouble: rig.OutdoorSunStruck, month: apr, findings: []string{"sensor_sun_struck/outdoor_temp"}, shows: runs, plant: everything},
		{trouble: rig.WrongFlowUnit, month: jan, findings: []string{"sensor_wrong_unit/flow_rate"}, shows: runs},
		{trouble: rig.WrongPowerUnit, month: jan, findings: []string{"sensor_wrong_unit/power"}, shows: runs},
		{trouble: rig.RegisterDisagrees, month: jan, findings: []string{"meter_disagreement"}, shows: runs, plant: everything},
		{trouble: rig.NeedlessPump, month: jul, findings: []string{"pump_idle"}, shows: runs},
		{trouble: rig.RoomBelowSet, month: jan, findings: []string{"room_cold"}, within: 3 * day, shows: runs, plant: everything, few: true},
		{trouble: rig.CurveTooHigh, month: jan, findings: []string{"curve_high"}, within: 9 * day, shows: runs, plant: everything},
		{trouble: rig.CurveNotFollowed, month: jan, findings: []string{"curve_not_followed", "target_not_held"}, within: 8 * day, shows: runs, plant: everything},
		{trouble: rig.LostRefrigerant, size: 0.35, month: jan, findings: []string{"target_not_held", "room_cold", "backup_running"}, within: 3 * day, shows: runs, plant: everything, sound: warm},
		{trouble: rig.NeedlessBackup, month: time.March, findings: []string{"backup_running"}, within: 3 * day, shows: runs, plant: everything},
		{trouble: rig.HotWaterSlow, month: jan, findings: []string{"hot_water_slow"}, within: 3 * day, shows: charges, plant: everything},
		{trouble: rig.HotWaterShort, size: 42, month: jan, findings: []string{"hot_water_short"}, within: 3 * day, shows: charges, plant: everything},
		{trouble: rig.HygieneMissed, month: jan, findings: []string{"hot_water_hygiene"}, within: 9 * day, shows: lastHygiene, plant: everything, after: 5 * day},
		{trouble: rig.ClockOffset, month: apr, findings: []string{"clock_wrong"}, within: 2 * day, shows: atOnce, plant: everything},
		{trouble: rig.ClockJumps, month: jan, findings: []string{"clock_wrong"}, within: day, shows: atOnce, plant: everything},
		{trouble: rig.Silent, month: jan, findings: []string{"silent"}, within: 90 * time.Minute, shows: atOnce, few: true},
		{trouble: rig.FrostDanger, month: jan, findings: []string{"frost_danger"}, within: 8 * time.Hour, shows: freezes},
	}
}

// TestEveryTroubleIsSoughtOrSaidToBeUnknowable: nothing that the rig can do is
// left out in silence.
func TestEveryTroubleIsSoughtOrSaidToBeUnknowable(t *testing.T) {
	known, plants := map[rig.Kind]bool{}, 0
	for kind := range unknowable {
		known[kind] = true
	}
	for _, s := range soughtTroubles() {
		known[s.trouble] = true
		plants += max(1, s.plants)
	}
	for _, k := range rig.Kinds() {
		assert.True(t, known[k.Kind], "no rule is said to find %s", k.Kind)
	}
	assert.Equal(t, 40, plants)
}

// everything is a plant that publishes all it has.
func everything(seed uint64) rig.Plant {
	p := rig.Random(seed)
	p.Metering.Quantities = nil
	return p
}

func atOnce(_ *played, onset time.Time) time.Time { return onset }

// runs is when the compressor first ran after the onset.
func runs(p *played, onset time.Time) time.Time {
	for _, r := range p.truth.Runs {
		if r.To.After(onset) {
			if r.From.Before(onset) {
				return onset
			}
			return r.From
		}
	}
	return time.Time{}
}

// cycles is when the first of three heating runs under 15 minutes began that came
// within two hours.
func cycles(p *played, onset time.Time) time.Time {
	var short []time.Time
	for _, r := range p.truth.Runs {
		if r.Kind != rig.HeatingRun || r.Open || r.From.Before(onset) {
			continue
		}
		if r.To.Sub(r.From) >= 15*time.Minute {
			short = nil
			continue
		}
		if short = append(short, r.From); len(short) >= 3 && r.To.Sub(short[len(short)-3]) < 2*time.Hour {
			return short[len(short)-3]
		}
	}
	return time.Time{}
}

// calm says whether a plant did not cycle before.
func calm(p *played, onset time.Time) bool { return !cycles(p, p.window.From).Before(onset) }

// warm says whether the house was within half a kelvin of its set temperature on
// every day before: some that are colder than designed for are not.
func warm(p *played, onset time.Time) bool {
	for _, d := range p.truth.Days {
		if d.Date < onset.Format(time.DateOnly) && d.RoomC < p.truth.Parameters.RoomSetC-0.5 {
			return false
		}
	}
	return true
}

// defrosts is when the first of at least four of a kind began after the onset.
func defrosts(so func(rig.DefrostRun) bool) func(*played, time.Time) time.Time {
	return func(p *played, onset time.Time) time.Time {
		var found []time.Time
		for _, d := range p.truth.Defrosts {
			if d.From.After(onset) && so(d) {
				found = append(found, d.From)
			}
		}
		if len(found) < 4 {
			return time.Time{}
		}
		return found[0]
	}
}

// charges is when the cylinder was first charged after the onset.
func charges(p *played, onset time.Time) time.Time {
	for _, r := range p.truth.HotWater {
		if r.From.After(onset) {
			return r.From
		}
	}
	return time.Time{}
}

// lastHygiene is when the cylinder of a plant that is heated through each week was
// last so before the onset.
func lastHygiene(p *played, onset time.Time) time.Time {
	k := slices.IndexFunc(p.columns, func(c ingest.Column) bool { return c.Channel == "cylinder_temp" })
	if k < 0 || p.plant.HotWater.HygieneC == 0 {
		return time.Time{}
	}
	var last time.Time
	for i, ms := range p.columns[k].UnixMS {
		if at := time.UnixMilli(ms); p.columns[k].Value[i] >= p.plant.HotWater.HygieneC-0.5 && at.Before(onset) {
			last = at
		}
	}
	return last
}

// freezes is when it first was below 0 °C after the onset, of three hours and more.
func freezes(p *played, onset time.Time) time.Time {
	k := slices.IndexFunc(p.columns, func(c ingest.Column) bool { return c.Channel == "outdoor_temp" })
	var since time.Time
	for i, ms := range p.columns[k].UnixMS {
		at := time.UnixMilli(ms)
		switch {
		case at.Before(onset) || p.columns[k].Value[i] >= 0:
			since = time.Time{}
		case since.IsZero():
			since = at
		case at.Sub(since) > 3*time.Hour:
			return since
		}
	}
	return time.Time{}
}
