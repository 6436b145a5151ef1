package job_test

import (
	"maps"
	"slices"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// comfortTroubles are those of rooms, hot water, backup heater, curve and telemetry.
func comfortTroubles() []sought {
	jan, day := time.January, 24*time.Hour
	return []sought{
		{trouble: rig.RoomBelowSet, month: jan, findings: []string{"room_cold"}, within: 3 * day, shows: runs, plant: everything},
		{trouble: rig.CurveTooHigh, month: jan, findings: []string{"curve_high"}, within: 9 * day, shows: runs, plant: everything, long: true},
		{trouble: rig.CurveNotFollowed, month: jan, findings: []string{"curve_not_followed", "target_not_held"}, within: 6 * day, shows: runs, plant: everything},
		{trouble: rig.LostRefrigerant, size: 0.35, month: jan, findings: []string{"target_not_held", "room_cold", "backup_running"}, within: 3 * day, shows: runs, plant: everything},
		{trouble: rig.NeedlessBackup, month: time.March, findings: []string{"backup_running"}, within: 3 * day, shows: runs, plant: everything},
		{trouble: rig.HotWaterSlow, month: jan, findings: []string{"hot_water_slow"}, within: 3 * day, shows: charges, plant: everything},
		{trouble: rig.HotWaterShort, size: 42, month: jan, findings: []string{"hot_water_short"}, within: 3 * day, shows: charges, plant: everything},
		{trouble: rig.HygieneMissed, month: jan, findings: []string{"hot_water_hygiene"}, within: 9 * day, shows: lastHygiene, plant: everything, after: 5 * day},
		{trouble: rig.ClockOffset, month: time.April, findings: []string{"clock_wrong"}, within: 2 * day, shows: atOnce, plant: everything},
		{trouble: rig.ClockJumps, month: jan, findings: []string{"clock_wrong"}, within: day, shows: atOnce, plant: everything},
		{trouble: rig.Silent, month: jan, findings: []string{"silent"}, within: 90 * time.Minute, shows: atOnce},
		{trouble: rig.FrostDanger, month: jan, findings: []string{"frost_danger"}, within: 8 * time.Hour, shows: freezes},
	}
}

func atOnce(_ *played, onset time.Time) time.Time { return onset }

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

// freezes is when it has been below -1 °C for three hours after the onset.
func freezes(p *played, onset time.Time) time.Time {
	k := slices.IndexFunc(p.columns, func(c ingest.Column) bool { return c.Channel == "outdoor_temp" })
	var since time.Time
	for i, ms := range p.columns[k].UnixMS {
		at := time.UnixMilli(ms)
		switch {
		case at.Before(onset) || p.columns[k].Value[i] >= -1:
			since = time.Time{}
		case since.IsZero():
			since = at
		case at.Sub(since) > 3*time.Hour:
			return since
		}
	}
	return time.Time{}
}

// inOrder is a column as a store keeps it: a clock that jumps gives times out of
// order, and some twice.
func inOrder(c ingest.Column) ingest.Column {
	if slices.IsSorted(c.UnixMS) {
		return c
	}
	at := make(map[int64]float64, c.Len())
	for i, ms := range c.UnixMS {
		at[ms] = c.Value[i]
	}
	sorted := ingest.Column{Channel: c.Channel, UnixMS: slices.Sorted(maps.Keys(at))}
	for _, ms := range sorted.UnixMS {
		sorted.Value = append(sorted.Value, at[ms])
	}
	return sorted
}
