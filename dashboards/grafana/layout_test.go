package grafana_test

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/dashboards/grafana"
)

func TestDashboardsKeepTheirUids(t *testing.T) {
	var uids []string
	for _, b := range boards(t) {
		uids = append(uids, b.UID)
	}
	assert.Equal(t, []string{"coldweek-fleet", "coldweek-plant", "coldweek-intake"}, uids, "they are in bookmarks")
}

func TestNoTwoPanelsShareAPlaceOrAnID(t *testing.T) {
	const columns = 24
	for _, b := range boards(t) {
		ids := map[int]string{}
		taken := map[[2]int]string{}
		for _, p := range b.Panels {
			assert.NotZero(t, p.ID, "%s: %s", b.Title, p.Title)
			assert.Empty(t, ids[p.ID], "%s: %s has the id of this", b.Title, p.Title)
			ids[p.ID] = p.Title
			assert.Positive(t, p.GridPos.W*p.GridPos.H, "%s: %s has no size", b.Title, p.Title)
			assert.LessOrEqual(t, p.GridPos.X+p.GridPos.W, columns, "%s: %s reaches over the edge", b.Title, p.Title)
			for x := range p.GridPos.W {
				for y := range p.GridPos.H {
					place := [2]int{p.GridPos.X + x, p.GridPos.Y + y}
					assert.Empty(t, taken[place], "%s: %s lies on this", b.Title, p.Title)
					taken[place] = p.Title
				}
			}
		}
		for place := range taken {
			assert.True(t, place[1] == 0 || taken[[2]int{place[0], place[1] - 1}] != "", "%s: there is a hole above %v", b.Title, place)
		}
	}
}

// twoMinutesMS is what may lie between two readings without being a gap, as in
// analysis/trace.
const twoMinutesMS = "120000"

func TestEveryPanelSaysWhatItShows(t *testing.T) {
	titles := map[string]bool{}
	eachPanel(t, func(b board, p panel) {
		name := b.Title + ": " + p.Title
		assert.NotEmpty(t, p.Title, name)
		assert.False(t, titles[name], "%s is there twice", name)
		titles[name] = true
		assert.True(t, strings.HasSuffix(p.Description, "."), "%s: a description is sentences", name)
		assert.NotEmpty(t, p.FieldConfig.Defaults.Unit, name)
		assert.NotEmpty(t, p.FieldConfig.Defaults.NoValue, name)
		assert.NotEmpty(t, p.Targets, name)
		if p.Type == "timeseries" {
			assert.NotEmpty(t, p.Interval, "%s: means over less than the sensors' interval are mostly gaps", name)
			assert.Contains(t, []string{"false", twoMinutesMS}, string(p.FieldConfig.Defaults.Custom.SpanNulls), "%s draws across gaps", name)
		}
	})
}

// TestLinesBreakAtGaps: a line is broken where there is a null, so the interval
// or day without anything must come as one.
func TestLinesBreakAtGaps(t *testing.T) {
	eachPanel(t, func(b board, p panel) {
		for _, q := range p.Targets {
			if q.Query != "" && p.FieldConfig.Defaults.Custom.DrawStyle == "line" {
				assert.Regexp(t, `GROUP BY time\(.*\).* fill\(null\)$`, q.Query, "%s: %s", b.Title, p.Title)
			}
		}
	})
}

// TestSeasonalFactorsAreOfSums: a mean of ratios is no seasonal factor.
func TestSeasonalFactorsAreOfSums(t *testing.T) {
	division := regexp.MustCompile(`[^ ]+ / [^ ]+`)
	eachPanel(t, func(b board, p panel) {
		for _, q := range p.Targets {
			for _, d := range division.FindAllString(q.Query, -1) {
				assert.Regexp(t, `^sum\("\w+_kwh"\) / sum\("\w*electricity_kwh"\)$`, d, "%s: %s", b.Title, p.Title)
			}
		}
	})
}

func TestTargetsNameTheirSource(t *testing.T) {
	eachPanel(t, func(b board, p panel) {
		refs := map[string]bool{}
		for _, q := range p.Targets {
			name := b.Title + ": " + p.Title + " " + q.RefID
			assert.False(t, refs[q.RefID], name)
			refs[q.RefID] = true
			switch q.Datasource.UID {
			case grafana.InfluxUID:
				assert.NotEmpty(t, q.Query, name)
			case grafana.PrometheusUID:
				assert.NotEmpty(t, q.Expr, name)
			default:
				t.Errorf("%s: source %q is not provisioned", name, q.Datasource.UID)
			}
		}
	})
}
