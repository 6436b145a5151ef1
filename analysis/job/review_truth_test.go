package job_test

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/review"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
)

// coldHouse is one of the demo's houses without its trouble, with every channel, read
// once a minute, played for some days from a day of January.
func coldHouse(id string) rig.Plant {
	for _, p := range rig.Houses() {
		if p.ID == id {
			p.Troubles = nil
			p.Metering.Interval, p.Metering.Quantities = time.Minute, nil
			return p
		}
	}
	panic("no house " + id)
}

// reviewed plays a plant and reviews the last seven days.
func reviewed(t testing.TB, plant rig.Plant, from time.Time, days int) *review.Review {
	t.Helper()
	return reviewedBy(t, plant, plant.Record(), from, days)
}

// reviewedBy does so by another record than the plant's own.
func reviewedBy(t testing.TB, plant rig.Plant, record *site.Record, from time.Time, days int) *review.Review {
	t.Helper()
	p := play(t, plant, from, days)
	week := job.Window{From: p.window.To.AddDate(0, 0, -review.WeekDays), To: p.window.To}
	r, err := job.Review(t.Context(), newShelf(p.columns), record, week, "given", nil, nil)
	require.NoError(t, err)
	return r
}

// page writes a review for a failing test's reader.
func page(r *review.Review) string {
	var b strings.Builder
	for _, p := range r.Points {
		value := ""
		if p.Value != nil {
			value = fmt.Sprintf("%.*f %s", p.Decimals, *p.Value, p.Unit)
		}
		fmt.Fprintf(&b, "%-14s %-18s %-16s [%s] %s\n", p.State, p.ID, value, p.Limit.Text, p.Says)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(&b, "  %s %s: %s\n", f.Severity, f.ID, f.Title)
	}
	return b.String()
}

// TestReviewOfHealthyPlants: all that can be known is good. What stays open is named:
// no week shows whether a machine that is just large enough is.
func TestReviewOfHealthyPlants(t *testing.T) {
	check := func(id string, from time.Time, days int, coldC float64, open ...string) {
		t.Run(fmt.Sprintf("%s/%d days", id, days), func(t *testing.T) {
			t.Parallel()
			plant := coldHouse(id)
			record := plant.Record()
			// The last room lies half a kelvin below the mean, and was promised no more.
			last := &record.Emitters.Rooms[len(record.Emitters.Rooms)-1]
			last.SetTempC = new(*last.SetTempC - 0.5)
			r := reviewedBy(t, plant, record, from, days)
			require.Less(t, *r.Cold.HourC, coldC, "it is a cold week")
			for _, p := range r.Points {
				want := review.Good
				if slices.Contains(open, p.ID) {
					want = review.NotKnown
				}
				assert.Equal(t, want, p.State, "%s\n%s", p.ID, page(r))
			}
			assert.Empty(t, r.Open())
		})
	}
	check("orchard-house", time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 10, 0)
	check("orchard-house", time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 26, -2, "coldest_night")
	check("lindenhof", time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 10, -4, "coldest_night")
}

// turned is a trouble of the rig and the points of the review that it turns, at least
// one of them; others may turn with it for the same cause.
type turned struct {
	trouble rig.Kind
	size    float64
	month   time.Month
	plant   func() rig.Plant
	points  []string
	also    []string
	days    int // played; 0 is 11, the trouble begins on the third
}

// unturned are the troubles that no point of a cold week can show, and why.
var unturned = map[rig.Kind]string{
	rig.GarbagePayloads: "what is no number never becomes a reading, see TestEveryTroubleIsSoughtOrSaidToBeUnknowable",
	rig.OutdoorDrifting: "it takes weeks to tell from the heat the house takes, see TestTroublesAreToldInTime",
	rig.NeedlessPump:    "the pump runs in summer, when nothing is heated",
}

func turnedPoints() []turned {
	jan, apr := time.January, time.April
	orchard := func() rig.Plant { return coldHouse("orchard-house") }
	small := func() rig.Plant { p := lean(3); p.Metering.Interval = time.Minute; return p }
	return []turned{
		{trouble: rig.LowFlow, size: 0.65, month: jan, plant: orchard, points: []string{"flow"}, also: []string{"difference"}},
		{trouble: rig.FlowStep, size: 0.65, month: jan, plant: orchard, points: []string{"flow"}, also: []string{"difference"}},
		{trouble: rig.BlockingStrainer, size: 4, month: jan, plant: orchard, points: []string{"flow"}, also: []string{"difference"}},
		{trouble: rig.OversizedMinimum, month: apr, plant: small, points: []string{"cycling"}},
		{trouble: rig.TooLittleWater, month: apr, plant: small, points: []string{"cycling"}},
		{trouble: rig.ThermostatChopping, month: apr, plant: small, points: []string{"cycling"}, also: []string{"rooms"}},
		{trouble: rig.TightHysteresis, month: apr, plant: small, points: []string{"cycling"}},
		{trouble: rig.OnOffControl, month: jan, plant: orchard, points: []string{"cycling"}},
		{trouble: rig.DefrostTooOften, month: jan, plant: orchard, points: []string{"defrost"}},
		{trouble: rig.DefrostTooLong, month: jan, plant: orchard, points: []string{"defrost"}, also: []string{"curve", "rooms", "coldest_night"}},
		{trouble: rig.DefrostInMild, month: time.March, plant: orchard, points: []string{"defrost"}},
		{trouble: rig.DefrostNotClearing, month: jan, plant: orchard, points: []string{"defrost"}, also: []string{"curve", "rooms", "hot_water_time", "coldest_night"}},
		{trouble: rig.LostRefrigerant, size: 0.35, month: jan, plant: orchard, points: []string{"curve", "coldest_night"}, also: []string{"rooms", "defrost", "backup", "hot_water_time", "hot_water_target", "hot_water_hygiene"}},
		{trouble: rig.RoomBelowSet, month: jan, plant: orchard, points: []string{"rooms"}, also: []string{"curve"}},
		{trouble: rig.CurveTooHigh, month: jan, plant: orchard, points: []string{"curve"}},
		{trouble: rig.CurveNotFollowed, month: jan, plant: orchard, points: []string{"curve"}, also: []string{"coldest_night"}},
		{trouble: rig.NeedlessBackup, month: jan, plant: func() rig.Plant { return coldHouse("lindenhof") }, points: []string{"backup"}},
		{trouble: rig.HotWaterSlow, month: jan, plant: orchard, points: []string{"hot_water_time"}, also: []string{"hot_water_target"}},
		{trouble: rig.HotWaterShort, size: 42, month: jan, plant: orchard, points: []string{"hot_water_target"}},
		{trouble: rig.HygieneMissed, month: jan, plant: orchard, points: []string{"hot_water_hygiene"}, days: 16},
		{trouble: rig.SwappedSensors, month: jan, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.SensorOffset, month: apr, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.OutdoorStuck, month: jan, plant: orchard, points: []string{"sensors"}, also: []string{"rooms"}},
		{trouble: rig.OutdoorJumping, month: jan, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.OutdoorSunStruck, month: apr, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.WrongFlowUnit, month: jan, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.WrongPowerUnit, month: jan, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.RegisterDisagrees, month: jan, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.ClockOffset, month: apr, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.ClockJumps, month: jan, plant: orchard, points: []string{"sensors"}},
		{trouble: rig.Silent, size: 30, month: jan, plant: orchard, points: []string{"sensors"}, days: 8},
		{trouble: rig.FrostDanger, month: jan, plant: orchard, points: []string{"coldest_night"}, also: []string{"rooms", "hot_water_target", "hot_water_hygiene"}},
	}
}

func TestEveryTroubleTurnsAPointOrIsSaidToTurnNone(t *testing.T) {
	known := map[rig.Kind]bool{}
	for kind := range unturned {
		known[kind] = true
	}
	for _, row := range turnedPoints() {
		known[row.trouble] = true
	}
	for _, k := range rig.Kinds() {
		assert.True(t, known[k.Kind], "no point is said to show %s", k.Kind)
	}
}

// TestTroublesTurnTheirOwnPoints: each trouble of the rig turns its point, and
// leaves those that it has nothing to do with.
func TestTroublesTurnTheirOwnPoints(t *testing.T) {
	for _, row := range turnedPoints() {
		t.Run(string(row.trouble), func(t *testing.T) {
			t.Parallel()
			p, days := row.plant(), cmp.Or(row.days, 11)
			from := time.Date(2026, row.month, 5, 0, 0, 0, 0, time.UTC)
			p.Troubles = []rig.Trouble{{Kind: row.trouble, At: from.AddDate(0, 0, 2).Add(5 * time.Hour), Size: row.size}}
			r := reviewed(t, p, from, days)
			var looks []string
			for _, point := range r.Points {
				if point.State == review.Look {
					looks = append(looks, point.ID)
				}
			}
			assert.Subset(t, append(row.points, row.also...), looks, "no other point turns\n%s", page(r))
			for _, id := range row.points {
				assert.Contains(t, looks, id, "its own point turns\n%s", page(r))
			}
		})
	}
}
