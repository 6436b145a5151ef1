package grafana_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/prometheus/client_golang/api"
	v1 "github.com/prometheus/client_golang/api/prometheus/v1"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/grafana"
	"coldweek/ingest"
	"coldweek/ingest/store/influx/influxtest"
)

// TestEveryPanelReturnsData runs each query of each panel, each variable's and
// each annotation's against a real InfluxDB and a real Prometheus. Each column
// and series must hold at least one value.
func TestEveryPanelReturnsData(t *testing.T) {
	d := deploy(t)
	d.awaitScrapes(t)
	var report strings.Builder
	table := tabwriter.NewWriter(&report, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(table, "dashboard\tpanel\tsource\tseries\trows\tms")
	for _, b := range boards(t) {
		for _, c := range d.choices(t, b) {
			d.runBoard(t, b, c, table)
		}
	}
	require.NoError(t, table.Flush())
	t.Log("\n" + report.String())

	t.Run("days are those of the analysis", func(t *testing.T) { d.checkDays(t) })
	t.Run("the fleet's table", func(t *testing.T) { d.checkFleet(t) })
	t.Run("temperatures", func(t *testing.T) { d.checkTemperatures(t) })
}

// awaitScrapes waits until Prometheus has enough to tell rates from, of all that
// grows.
func (d *deployment) awaitScrapes(t *testing.T) {
	t.Helper()
	require.Eventually(t, func() bool {
		samples, err := d.prometheus.Query(`rate(coldweek_ingest_messages_total[10s]) > 0`)
		return err == nil && len(samples) == 1
	}, time.Minute, 100*time.Millisecond, d.prometheus.Log())
}

// choices are all plants, then some, where a page is of many, and each where it
// is of one.
func (d *deployment) choices(t *testing.T, b board) []chosen {
	sites := []values{nil, d.sites()[:2]}
	if !b.Templating.List[0].Multi {
		sites = nil
		for _, id := range d.sites() {
			sites = append(sites, values{id})
		}
	}
	var all []chosen
	for _, site := range sites {
		all = append(all, d.choose(t, b, site))
	}
	return all
}

// choose takes all values of the other variables, as the files do.
func (d *deployment) choose(t *testing.T, b board, site values) chosen {
	t.Helper()
	c := chosen{"site": site}
	for i, v := range b.Templating.List {
		answer := d.influx.Query(database, expand(t, v.Query, "", winterSpan(), c))
		require.Len(t, answer, 1, v.Query)
		found := column(t, answer, "value")
		if i == 0 {
			assert.Equal(t, "site", v.Name, b.Title)
			assert.Len(t, found, len(d.records), b.Title)
			assert.Equal(t, v.Multi, v.AllValue == allSites, "%s: what All stands for", b.Title)
			continue
		}
		assert.True(t, v.Multi && v.IncludeAll && v.AllValue == "", "%s: %s", b.Title, v.Name)
		for _, value := range found {
			c[v.Name] = append(c[v.Name], value.(string))
		}
	}
	return c
}

func (d *deployment) runBoard(t *testing.T, b board, c chosen, table *tabwriter.Writer) {
	for _, a := range b.Annotations.List {
		r := d.run(t, a.Target, "", c)
		r.check(t, b.Title+": "+a.Name)
		assert.Contains(t, r.columns, a.Target.TextColumn)
	}
	for _, p := range b.Panels {
		for _, q := range p.Targets {
			r := d.run(t, q, p.Interval, c)
			r.check(t, fmt.Sprintf("%s: %s %s of %v", b.Title, p.Title, q.RefID, c["site"]))
			_, _ = fmt.Fprintf(table, "%s\t%s %s\t%s\t%d\t%d\t%.1f\n", b.Title, p.Title, q.RefID, strings.TrimPrefix(q.Datasource.UID, "coldweek-"),
				r.series, r.rows, r.took.Seconds()*1000)
		}
	}
}

// result is what a query gave.
type result struct {
	text         string
	columns      []string // those with a value
	empty        []string // those without any
	series, rows int
	took         time.Duration
}

func (r result) check(t *testing.T, name string) {
	t.Helper()
	assert.NotZero(t, r.rows, "%s: no data\n%s", name, r.text)
	assert.Empty(t, r.empty, "%s: nothing but nulls\n%s", name, r.text)
}

func (d *deployment) run(t *testing.T, q target, interval string, c chosen) result {
	t.Helper()
	began := time.Now()
	var r result
	if q.Datasource.UID == grafana.PrometheusUID {
		r = d.runPromQL(t, q, interval, c)
	} else {
		r = d.runInfluxQL(t, q, interval, c)
	}
	r.took = time.Since(began)
	return r
}

func winterSpan() span {
	return span{from: winter, to: winter.AddDate(0, 0, wintersDays), scrape: time.Minute}
}

func (d *deployment) ask(t *testing.T, q target, interval string, c chosen) (string, []influxtest.Series) {
	t.Helper()
	text := expand(t, q.Query, interval, winterSpan(), c)
	return text, d.influx.Query(database, text)
}

func (d *deployment) runInfluxQL(t *testing.T, q target, interval string, c chosen) result {
	t.Helper()
	text, series := d.ask(t, q, interval, c)
	r := result{text: text, series: len(series)}
	for _, s := range series {
		r.rows += len(s.Values)
		for i, name := range s.Columns {
			if name == "time" {
				continue
			}
			if slices.ContainsFunc(s.Values, func(row []any) bool { return row[i] != nil }) {
				r.columns = append(r.columns, name)
			} else {
				r.empty = append(r.empty, fmt.Sprintf("%s %v", name, s.Tags))
			}
		}
	}
	return r
}

func (d *deployment) runPromQL(t *testing.T, q target, interval string, c chosen) result {
	t.Helper()
	client, err := api.NewClient(api.Config{Address: d.prometheus.URL()})
	require.NoError(t, err)
	now := time.Now()
	s := span{from: now.Add(-time.Minute), to: now, scrape: time.Second}
	r := result{text: expand(t, q.Expr, interval, s, c)}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	var value model.Value
	if q.Instant {
		value, _, _, err = v1.NewAPI(client).Query(ctx, r.text, now)
	} else {
		value, _, _, err = v1.NewAPI(client).QueryRange(ctx, r.text, v1.Range{Start: s.from, End: s.to, Step: time.Second})
	}
	require.NoError(t, err, r.text)
	for _, v := range samplesOf(value) {
		r.series++
		r.rows += len(v)
		if !slices.ContainsFunc(v, func(x float64) bool { return !math.IsNaN(x) }) {
			r.empty = append(r.empty, "series "+fmt.Sprint(r.series))
		}
	}
	return r
}

// samplesOf returns the samples of each series.
func samplesOf(value model.Value) [][]float64 {
	var all [][]float64
	switch v := value.(type) {
	case model.Vector:
		for _, sample := range v {
			all = append(all, []float64{float64(sample.Value)})
		}
	case model.Matrix:
		for _, stream := range v {
			var samples []float64
			for _, pair := range stream.Values {
				samples = append(samples, float64(pair.Value))
			}
			all = append(all, samples)
		}
	}
	return all
}

// find returns a panel's target.
func find(t *testing.T, page, title, refID string) (target, string) {
	t.Helper()
	var found target
	var interval string
	eachPanel(t, func(b board, p panel) {
		for _, q := range p.Targets {
			if b.Title == page && p.Title == title && q.RefID == refID {
				found, interval = q, p.Interval
			}
		}
	})
	require.NotEmpty(t, found.RefID, "%s: %s %s", page, title, refID)
	return found, interval
}

// checkDays compares what panels draw of a plant with what the analysis says.
func (d *deployment) checkDays(t *testing.T) {
	for id, answer := range d.answers {
		require.Len(t, answer.Days, wintersDays)
		drawn := func(title, refID, name string) []any {
			q, interval := find(t, "Plant", title, refID)
			_, series := d.ask(t, q, interval, d.choose(t, boards(t)[1], values{id}))
			return column(t, series, name)
		}
		spf, heat, starts := drawn("SPF of each day", "A", "Overall"), drawn("Heat of each day", "A", "Space heating"), drawn("Starts of each day", "A", "Starts")
		minutes := 0.0
		for i, day := range answer.Days {
			same(t, *day.NetKWh / *day.ElectricityKWh, spf[i], "%s %s: SPF", id, day.Date)
			same(t, *day.SpaceKWh, heat[i], "%s %s: space heating", id, day.Date)
			same(t, float64(*day.Starts), starts[i], "%s %s: starts", id, day.Date)
		}
		for _, v := range drawn("Defrosts of each day", "B", "Minutes")[:wintersDays] {
			minutes += number(t, v)
		}
		assert.InDelta(t, *answer.Defrost.Minutes, minutes, 1e-6, "%s: minutes of defrosts", id)
		same(t, *answer.Heat.NetKWh / *answer.Electricity.TotalKWh, drawn("SPF", "A", "SPF")[0], "%s: SPF of all days", id)
		same(t, *answer.Heat.NetKWh, drawn("Heat", "A", "sum")[0], "%s: heat", id)
	}
}

// checkFleet compares the columns of the table, and the whole fleet's SPF.
func (d *deployment) checkFleet(t *testing.T) {
	q, interval := find(t, "Fleet", "Plants, worst first", "C")
	_, series := d.ask(t, q, interval, chosen{"site": nil})
	require.Len(t, series, len(d.records), "a line a plant")
	heatKWh, electricityKWh := 0.0, 0.0
	for _, s := range series {
		answer := d.answers[s.Tags["site"]]
		one := []influxtest.Series{s}
		same(t, *answer.Heat.NetKWh, column(t, one, "heat")[0], "heat of %s", answer.Site)
		same(t, *answer.Electricity.TotalKWh, column(t, one, "electricity")[0], "electricity of %s", answer.Site)
		same(t, float64(*answer.Cycling.Starts)/wintersDays, column(t, one, "starts")[0], "starts a day of %s", answer.Site)
		heatKWh += *answer.Heat.NetKWh
		electricityKWh += *answer.Electricity.TotalKWh
	}
	q, interval = find(t, "Fleet", "SPF", "A")
	_, series = d.ask(t, q, interval, chosen{"site": nil})
	same(t, heatKWh/electricityKWh, column(t, series, "SPF")[0], "SPF of the fleet")

	q, interval = find(t, "Fleet", "Plants", "A")
	_, series = d.ask(t, q, interval, chosen{"site": nil})
	same(t, float64(len(d.records)), column(t, series, "Plants")[0], "plants")
	q, interval = find(t, "Fleet", "Plants, worst first", "B")
	_, series = d.ask(t, q, interval, chosen{"site": d.sites()[1:]})
	assert.Len(t, series, 2, "the plants chosen")
}

// checkTemperatures wants a line for every place a channel has.
func (d *deployment) checkTemperatures(t *testing.T) {
	q, interval := find(t, "Plant", "Temperatures", "A")
	for _, record := range d.records {
		var want []string
		extents, err := d.store.Extents(t.Context(), record.ID)
		require.NoError(t, err)
		for _, e := range extents {
			if slices.Contains([]ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowTarget, ingest.OutdoorTemp, ingest.RoomTemp}, e.Channel.Quantity()) {
				want = append(want, "mean_"+string(e.Channel))
			}
		}
		r := d.run(t, q, interval, d.choose(t, boards(t)[1], values{record.ID}))
		assert.ElementsMatch(t, want, r.columns, record.ID)
	}
}

// column returns a column of the only series.
func column(t *testing.T, series []influxtest.Series, name string) []any {
	t.Helper()
	require.Len(t, series, 1)
	i := slices.Index(series[0].Columns, name)
	require.GreaterOrEqual(t, i, 0, "%s is none of %v", name, series[0].Columns)
	var all []any
	for _, row := range series[0].Values {
		all = append(all, row[i])
	}
	return all
}

func number(t *testing.T, value any) float64 {
	t.Helper()
	n, ok := value.(json.Number)
	require.True(t, ok, "%v is no number", value)
	f, err := n.Float64()
	require.NoError(t, err)
	return f
}

func same(t *testing.T, want float64, got any, message string, args ...any) {
	t.Helper()
	assert.InDelta(t, want, number(t, got), 1e-9*math.Max(1, math.Abs(want)), append([]any{message}, args...)...)
}
