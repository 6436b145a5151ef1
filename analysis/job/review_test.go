package job_test

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/review"
	"coldweek/analysis/watch"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

var ninthOfFebruary = time.Date(2026, 2, 9, 12, 0, 0, 0, time.UTC)

func bareRecord(t *testing.T) *site.Record {
	t.Helper()
	record, err := site.Parse("bare.yaml", []byte("id: bare\ntime_zone: Europe/London\n"))
	require.NoError(t, err)
	return record
}

// allUnknown wants no point good or to look at, and each to say what to do.
func allUnknown(t *testing.T, r *review.Review) {
	t.Helper()
	for _, p := range r.Points {
		assert.Equal(t, review.NotKnown, p.State, p.ID)
		assert.NotEmpty(t, p.Says, p.ID)
		assert.NotEmpty(t, p.Next, p.ID)
	}
	assert.Equal(t, review.Counts{NotKnown: len(r.Points)}, r.Counts)
}

func TestReviewOfAnEmptyStore(t *testing.T) {
	st, record := newShelf(nil), bareRecord(t)
	window, chosen, err := job.ColdestWeek(t.Context(), st, record, ninthOfFebruary, nil)
	require.NoError(t, err)
	assert.Equal(t, time.Date(2026, 2, 2, 0, 0, 0, 0, record.Zone()), window.From)
	assert.Equal(t, "the last seven days, of which nothing is stored", chosen)
	r, err := job.Review(t.Context(), st, record, window, chosen, nil, nil)
	require.NoError(t, err)
	allUnknown(t, r)
	assert.Nil(t, r.Night)
	assert.Empty(t, r.Findings)
}

// TestReviewOfABareRecord: every reading there is, and a record that says nothing.
func TestReviewOfABareRecord(t *testing.T) {
	p := play(t, coldHouse("orchard-house"), time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 8)
	r, err := job.Review(t.Context(), newShelf(p.columns), bareRecord(t), p.window, "given", nil, nil)
	require.NoError(t, err)
	wants := map[string]review.State{
		"flow": review.NotKnown, "difference": review.NotKnown, "curve": review.NotKnown, "rooms": review.NotKnown,
		"defrost": review.Good, "cycling": review.Good, "hot_water_target": review.NotKnown, "hot_water_time": review.NotKnown,
		"hot_water_hygiene": review.NotKnown, "backup": review.Good, "sensors": review.Good, "heat_loss": review.NotKnown,
		"coldest_night": review.NotKnown,
	}
	for _, point := range r.Points {
		assert.Equal(t, wants[point.ID], point.State, "%s\n%s", point.ID, page(r))
		if point.State == review.NotKnown {
			assert.NotEmpty(t, point.Next, point.ID)
		}
	}
}

// TestReviewOfFewChannels leaves channels out, one after the other and most at once:
// nothing crashes, and what is missing is not good.
func TestReviewOfFewChannels(t *testing.T) {
	plant := coldHouse("orchard-house")
	p := play(t, plant, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 7)
	without := map[ingest.Quantity][]string{
		ingest.FlowRate: {"flow"}, ingest.RoomTemp: {"rooms"}, ingest.CylinderTemp: {"hot_water_target", "hot_water_hygiene"},
		ingest.BackupPower: {"backup"}, ingest.OutdoorTemp: {"curve", "heat_loss", "coldest_night"},
	}
	check := func(keep func(q ingest.Quantity) bool, unknown []string) {
		t.Helper()
		columns := slices.DeleteFunc(slices.Clone(p.columns), func(c ingest.Column) bool { return !keep(c.Channel.Quantity()) })
		r, err := job.Review(t.Context(), newShelf(columns), plant.Record(), p.window, "given", nil, nil)
		require.NoError(t, err)
		for _, point := range r.Points {
			if slices.Contains(unknown, point.ID) {
				assert.Equal(t, review.NotKnown, point.State, "%s\n%s", point.ID, page(r))
			}
		}
	}
	for q, unknown := range without {
		check(func(have ingest.Quantity) bool { return have != q }, unknown)
	}
	check(func(have ingest.Quantity) bool { return have == ingest.OutdoorTemp }, []string{"flow", "difference", "curve", "rooms", "defrost", "cycling",
		"hot_water_target", "hot_water_time", "hot_water_hygiene", "backup", "sensors", "heat_loss", "coldest_night"})
}

// TestReviewOfHalfAWeek: three and a half days are missing. That is said, and the
// heat loss waits.
func TestReviewOfHalfAWeek(t *testing.T) {
	plant := coldHouse("orchard-house")
	p := play(t, plant, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 7)
	gap := job.Window{From: p.window.From.Add(40 * time.Hour), To: p.window.From.Add(124 * time.Hour)}
	for i, c := range p.columns {
		first, _ := slices.BinarySearch(c.UnixMS, gap.From.UnixMilli())
		last, _ := slices.BinarySearch(c.UnixMS, gap.To.UnixMilli())
		p.columns[i].UnixMS = slices.Delete(slices.Clone(c.UnixMS), first, last)
		p.columns[i].Value = slices.Delete(slices.Clone(c.Value), first, last)
	}
	r, err := job.Review(t.Context(), newShelf(p.columns), plant.Record(), p.window, "given", nil, nil)
	require.NoError(t, err)
	assert.InDelta(t, 0.5, r.Coverage, 0.02)
	for _, point := range r.Points {
		switch point.ID {
		case "sensors":
			assert.Equal(t, review.Look, point.State)
		case "heat_loss":
			assert.Equal(t, review.NotKnown, point.State)
			assert.Contains(t, point.Says, "at least 5 are needed")
		default:
			assert.NotEqual(t, review.Look, point.State, "%s\n%s", point.ID, page(r))
		}
	}
}

// TestColdestWeekIsChosen: the coldest, not the last, of the whole days stored.
func TestColdestWeekIsChosen(t *testing.T) {
	plant := coldHouse("orchard-house")
	p := play(t, plant, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 20)
	st, record := newShelf(p.columns), plant.Record()
	window, chosen, err := job.ColdestWeek(t.Context(), st, record, ninthOfFebruary, nil)
	require.NoError(t, err)
	assert.Equal(t, "the coldest seven days in a row of the last 20 stored", chosen)
	result, err := job.AnalyseColumns(record, p.columns, p.window)
	require.NoError(t, err)
	mean := func(from int) float64 {
		sumC := 0.0
		for _, d := range result.Days[from : from+7] {
			sumC += *d.OutdoorC
		}
		return sumC / 7
	}
	at := int(window.From.Sub(p.window.From).Hours() / 24)
	for from := 0; from+7 <= len(result.Days); from++ {
		assert.GreaterOrEqual(t, mean(from), mean(at)-1e-9, "days from %d", from)
	}
	again, _, err := job.ColdestWeek(t.Context(), st, record, ninthOfFebruary, nil)
	require.NoError(t, err)
	assert.Equal(t, window, again, "by the days that were kept")

	half := p.window.From.Add(36 * time.Hour)
	few, chosen, err := job.ColdestWeek(t.Context(), st, record, half, nil)
	require.NoError(t, err)
	assert.Equal(t, job.Window{From: p.window.From, To: p.window.From.AddDate(0, 0, 1)}, few, "today is no whole day")
	assert.Equal(t, "the only whole day stored so far", chosen)
}

// TestReviewLimitsAreThoseOfTheRules: what a rule opens on is what the page prints.
func TestReviewLimitsAreThoseOfTheRules(t *testing.T) {
	plant := coldHouse("orchard-house")
	r := reviewed(t, plant, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 7)
	limits := map[string]review.Limit{}
	for _, p := range r.Points {
		limits[p.ID] = p.Limit
	}
	assert.InDelta(t, plant.House.RoomSetC-watch.RoomShortK, *limits["rooms"].Low, 1e-9)
	assert.InDelta(t, plant.HotWater.TargetC-watch.CylinderShortK, *limits["hot_water_target"].Low, 1e-9)
	assert.InDelta(t, plant.HotWater.HygieneC-watch.HygieneNearK, *limits["hot_water_hygiene"].Low, 1e-9)
	assert.InDelta(t, 15, *limits["cycling"].Low, 1e-9)
	assert.InDelta(t, 0.7*plant.Loop.FlowLPH, *limits["flow"].Low, 1e-9)
}

// TestReviewKeys holds the JSON to what is documented.
func TestReviewKeys(t *testing.T) {
	r := reviewed(t, coldHouse("orchard-house"), time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 7)
	text, err := json.Marshal(r)
	require.NoError(t, err)
	var read map[string]any
	require.NoError(t, json.Unmarshal(text, &read))
	keys := func(v any) []string {
		var all []string
		for k := range v.(map[string]any) {
			all = append(all, k)
		}
		slices.Sort(all)
		return all
	}
	assert.Equal(t, []string{"chosen", "coldest_night", "counts", "coverage", "findings", "from", "name", "outdoors", "points", "site", "to"}, keys(read))
	assert.Equal(t, []string{"coldest_day", "coldest_day_c", "coldest_hour_c", "design_c", "mean_c"}, keys(read["outdoors"]))
	assert.Equal(t, []string{"good", "look_at_this", "not_known_yet"}, keys(read["counts"]))
	assert.Equal(t, []string{"backup_kwh", "beyond_k", "design_c", "flow_c", "from", "full_at_design_kw", "full_basis", "full_kw", "heat_kw",
		"needed_at_design_kw", "outdoor_c", "room_c", "share_of_full", "to"}, keys(read["coldest_night"]))
	points := read["points"].([]any)
	require.Len(t, points, 13)
	for _, p := range points {
		assert.Equal(t, []string{"caution", "decimals", "findings", "high", "id", "limit", "low", "name", "next", "says", "state", "unit", "value"}, keys(p))
		assert.Equal(t, []string{"basis", "high", "low", "source", "text"}, keys(p.(map[string]any)["limit"]))
		assert.NotNil(t, p.(map[string]any)["next"], "a list, if empty")
	}
}
