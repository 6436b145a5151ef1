package grafana

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
)

// The uids under which the data sources are provisioned.
const (
	InfluxUID     = "coldweek-influx"
	PrometheusUID = "coldweek-prometheus"
)

var (
	influxSource     = common.DataSourceRef{Type: new("influxdb"), Uid: new(InfluxUID)}
	prometheusSource = common.DataSourceRef{Type: new("prometheus"), Uid: new(PrometheusUID)}
	// mixedSource lets each target of a panel name its own.
	mixedSource = common.DataSourceRef{Type: new("datasource"), Uid: new("-- Mixed --")}
)

// query is a target of a panel.
type query struct {
	source common.DataSourceRef
	text   string
	legend string // of its series
	rows   bool   // a table
	now    bool   // of PromQL: at the end of the range alone
}

// influx asks InfluxDB for series named after their columns, or after the legend
// where one is given.
func influx(text string) query { return query{source: influxSource, text: text, legend: "$col"} }

// influxRows asks InfluxDB for a table.
func influxRows(text string) query { return query{source: influxSource, text: text, rows: true} }

func prom(expr, legend string) query {
	return query{source: prometheusSource, text: expr, legend: legend}
}

func promNow(expr, legend string) query {
	return query{source: prometheusSource, text: expr, legend: legend, now: true}
}

func promRows(expr string) query {
	return query{source: prometheusSource, text: expr, rows: true, now: true}
}

func (q query) target(refID string) cog.Builder[variants.Dataquery] {
	if q.source == influxSource {
		return variants.NewUnknownDataqueryBuilderFromObject(q.influx(refID))
	}
	b := prometheus.NewDataqueryBuilder().Datasource(q.source).RefId(refID).Expr(q.text).LegendFormat(q.legend).
		EditorMode(prometheus.QueryEditorModeCode)
	if q.rows {
		b.Format(prometheus.PromQueryFormatTable)
	}
	if q.now {
		return b.Instant()
	}
	return b.Range()
}

// influx writes the target in the fields of Grafana's InfluxQL queries, for which
// the SDK has no type.
func (q query) influx(refID string) variants.UnknownDataquery {
	target := variants.UnknownDataquery{
		"refId": refID, "datasource": q.source, "query": q.text, "rawQuery": true, "resultFormat": "time_series",
	}
	if q.rows {
		target["resultFormat"] = "table"
	} else {
		target["alias"] = q.legend
	}
	return target
}

// The site chosen on a page of one plant, and those chosen on a page of many. An
// id holds no quote; its signs are escaped where it is part of an expression.
const (
	thisSite   = `"site" = '${site:raw}'`
	theseSites = `"site" =~ /^${site:regex}$/`
	// theseHeard is for PromQL, for which Grafana escapes by itself.
	theseHeard = `{site=~"$site"}`
)

// readings is the mean of the channels that a variable of the page holds, an
// empty interval left empty. An expression for all of a quantity's places would
// do, were it not that InfluxDB then answers with an empty column for each place
// of every other site.
func readings(channels string) query {
	return influx(fmt.Sprintf(`SELECT mean(/^${%s:regex}$/) FROM "reading" WHERE %s AND $timeFilter GROUP BY time($__interval) fill(null)`,
		channels, thisSite))
}

// channelsOf are the chosen site's channels of these quantities, at all their
// places.
func channelsOf(quantities string) string {
	return fmt.Sprintf(`SHOW TAG VALUES FROM "channel" WITH KEY = "channel" WHERE %s AND "channel" =~ /^(%s)(\/.+)?$/`, thisSite, quantities)
}

// ofDays are figures of the days of sites, each as it is.
func ofDays(fields, sites string) query {
	return influx(fmt.Sprintf(`SELECT %s FROM "site_day" WHERE %s AND $timeFilter`, fields, sites))
}

// spf is heat by electricity, each summed over what the grouping puts together.
// Days on which nothing was taken are left out: a meter that stood still would
// make a seasonal factor of its own.
func spf(heat, electricity, name, sites, grouping string) string {
	return fmt.Sprintf(`SELECT sum(%[1]q) / sum(%[2]q) AS %[3]q FROM "site_day" WHERE %[4]s AND $timeFilter AND %[2]q > 0%[5]s`,
		heat, electricity, name, sites, grouping)
}

// eachDay groups by day and leaves days without figures empty.
const eachDay = ` GROUP BY time(1d) fill(null)`
