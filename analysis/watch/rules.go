package watch

import (
	"slices"
	"strings"
	"time"
)

// Rule looks at a case and returns the episodes it sees.
type Rule func(c *Case) []Finding

// span is what a rule looks at: as far back as that it says what was and what
// was not.
type span int

const (
	overSlots span = iota
	overDays
)

// row is one kind of finding.
type row struct {
	name    string // of the findings, without place; a name ending in _ stands for all that begin so
	over    span
	closing time.Duration // findings of a kind that lie closer are one
	basis   string
	rule    Rule // nil where the rule of another row gives them
}

// table is every rule.
func table() []row {
	return []row{
		{"pipes_swapped", overSlots, day, "a return warmer than the flow while the compressor heats", pipesSwapped},
		{"sensor_", overSlots, 2 * day, "readings that a plant cannot have made", sensorFaults},
		{"sensor_drifting", overDays, 7 * day, "the heat the house took at the outdoor temperature shown", sensorDrift},
		{"meter_disagreement", overDays, 2 * day, "5 % and the doubt of sampling (common practice)", meterDisagreement},
		{"flow_stepped", overSlots, 6 * time.Hour, "the plant's own flow at the same output, 10 % (common practice)", flowStepped},
		{"flow_falling", overDays, 3 * day, "the plant's own flow at the same output, 5 % in days (common practice)", flowFalling},
		{"low_flow", overSlots, 6 * time.Hour, "the maker's minimum and the commissioned flow of the record; 70 % is common practice", lowFlow},
		{"short_cycling", overDays, calmGap, "starts cost little from 15 minutes of running on (Uhlmann and Bertsch 2011)", shortCycling},
		{"defrost_often", overDays, defrostGap, "30 minutes in the severest frost (Zhu 2015)", defrostOften},
		{"defrost_not_clearing", overDays, defrostGap, "30 minutes in the severest frost (Zhu 2015), and the plant's usual length and interval in such air", nil},
		{"defrost_long", overDays, defrostGap, "12 minutes (common practice)", defrostLong},
		{"defrost_mild", overDays, defrostGap, "no frost from 6 °C on (Zhu 2015)", defrostMild},
		{"pump_idle", overDays, 3 * day, "common practice", pumpIdle},
		{"silent", overSlots, time.Hour, "an hour for a site, two or six for a channel, or twice what it usually does (common practice)", silent},
		{"frost_danger", overSlots, 3 * time.Hour, "water freezes at 0 °C and takes hours to get there (common practice)", frostDanger},
		{"target_not_held", overSlots, 6 * time.Hour, "3 K below the published target for 2 hours of heating (common practice)", targetNotHeld},
		{"room_cold", overSlots, 12 * time.Hour, "1.25 K below the set temperature of the record (common practice)", roomsCold},
		{"backup_running", overSlots, day, "2 hours in mild weather, or a fifth of the running hours (common practice)", backupRunning},
		{"hot_water_slow", overSlots, day, "the rated heat, and the plant's own chargings before (common practice)", hotWaterSlow},
		{"hot_water_short", overSlots, day, "the target of the record", hotWaterShort},
		{"hot_water_hygiene", overDays, day, "temperature and interval of the record", hygieneMissed},
		{"curve_high", overSlots, 7 * day, "what the emitters were seen to give, and the set curve; 3 K (common practice)", curveHigh},
		{"curve_not_followed", overSlots, 3 * day, "the set curve, and the published target (common practice)", curveNotFollowed},
		{"clock_wrong", overSlots, 2 * day, "times at which nothing happened, came twice, or do not fit the sun", clockWrong},
	}
}

// explanations say which findings are not told beside another that explains them.
// Names stand for all kinds that begin so.
var explanations = []struct {
	cause   string
	effects []string
}{
	{"pipes_swapped", []string{"low_flow", "flow_", "defrost_", "short_cycling", "sensor_pair_offset", "meter_disagreement", "target_not_held", "hot_water_slow", "curve_"}},
	{"sensor_wrong_unit/flow_", []string{"low_flow", "flow_", "short_cycling", "defrost_", "meter_disagreement", "hot_water_slow", "target_not_held", "curve_"}},
	{"sensor_wrong_unit/return_temp", []string{"low_flow", "flow_", "short_cycling", "defrost_", "meter_disagreement", "hot_water_slow", "target_not_held", "curve_"}},
	{"sensor_wrong_unit/power", []string{"low_flow", "flow_", "short_cycling", "defrost_", "meter_disagreement", "hot_water_slow", "target_not_held", "curve_"}},
	{"sensor_stuck/flow_", []string{"low_flow", "flow_", "defrost_", "short_cycling", "meter_disagreement"}},
	{"sensor_stuck/return_temp", []string{"defrost_", "meter_disagreement"}},
	{"sensor_stuck/power", []string{"short_cycling", "defrost_", "meter_disagreement"}},
	{"sensor_stuck/outdoor_temp", []string{"defrost_", "sensor_drifting", "sensor_sun_struck"}},
	{"sensor_jumping/outdoor_temp", []string{"defrost_", "sensor_drifting", "sensor_sun_struck"}},
	{"sensor_sun_struck", []string{"defrost_mild", "sensor_drifting"}},
	{"sensor_jumping/flow_", []string{"low_flow", "flow_", "defrost_", "short_cycling", "meter_disagreement"}},
	{"flow_stepped", []string{"low_flow", "flow_falling", "hot_water_slow"}},
	{"flow_falling", []string{"low_flow", "hot_water_slow"}},
	{"low_flow", []string{"hot_water_slow"}},
	{"defrost_often", []string{"defrost_mild"}},
	{"clock_wrong", []string{"silent", "meter_disagreement", "sensor_", "hot_water_", "short_cycling", "defrost_"}},
	{"frost_danger", []string{"room_cold", "target_not_held", "hot_water_"}},
	{"hot_water_slow", []string{"hot_water_short"}},
	{"target_not_held", []string{"room_cold", "hot_water_s"}},
	{"curve_not_followed", []string{"target_not_held", "backup_running", "curve_high"}},
	{"curve_high", []string{"target_not_held", "backup_running"}},
}

const day = 24 * time.Hour

// rowOf is the row of a kind, the one that names it best. A kind whose rule has gone
// has the longer window and no rule.
func rowOf(name string) row {
	best := row{over: overDays}
	for _, r := range table() {
		if named(r.name, name) && len(r.name) > len(best.name) {
			best = r
		}
	}
	return best
}

// named says whether a name stands for a kind: itself, or all that begin so.
func named(name, kind string) bool {
	return kind == name || strings.HasSuffix(name, "_") && strings.HasPrefix(kind, name)
}

// from is where a rule's view begins.
func (r row) from(c *Case) time.Time {
	if r.over == overSlots {
		return c.SlotsFrom()
	}
	return c.DaysFrom()
}

// Run asks every rule and leaves out what others explain. Findings come in the
// order they began.
func Run(c *Case) []Finding {
	var found []Finding
	for _, r := range table() {
		if r.rule == nil {
			continue
		}
		for _, f := range r.rule(c) {
			if f.Basis == "" {
				f.Basis = r.basis
			}
			f.AsOf = c.Now
			found = append(found, f)
		}
	}
	found = unexplained(found)
	slices.SortStableFunc(found, func(a, b Finding) int { return a.Since.Compare(b.Since) })
	return found
}

// lead is how much earlier than its cause a finding may seem to begin: rules need
// different times to see, what is seen by days begins with a day, and frequent defrosts
// with the first of some that may have come long before.
func lead(name string) time.Duration {
	for _, daily := range []string{"meter_disagreement", "flow_", "sensor_drifting", "defrost_"} {
		if strings.HasPrefix(name, daily) {
			return day
		}
	}
	return 2 * time.Hour
}

// unexplained leaves out findings whose cause is among the others. A change of flow
// then is as severe as the low flow it leads to.
func unexplained(found []Finding) []Finding {
	kept := slices.Clone(found)
	for i := range found {
		for k := range found {
			if i != k && explains(&found[k], &found[i]) {
				if strings.HasPrefix(found[k].Kind, "flow_") {
					kept[k].Severity = worse(kept[k].Severity, found[i].Severity)
				}
				kept[i].Kind = ""
			}
		}
	}
	return slices.DeleteFunc(kept, func(f Finding) bool { return f.Kind == "" })
}

// explains says whether a finding is why another is there.
func explains(cause, effect *Finding) bool {
	if effect.Since.Before(cause.Since.Add(-lead(effect.Name()))) || effect.Since.After(cause.end()) {
		return false
	}
	return Explains(cause.Kind, effect.Kind)
}
