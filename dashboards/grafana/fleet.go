package grafana

import (
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
	"github.com/grafana/grafana-foundation-sdk/go/units"
)

const (
	// silentAfterS is how long a plant may send nothing before it is called
	// silent, as on the pages; a day later it is an alarm.
	silentAfterS = 900
	lostAfterS   = 86400
	// usableCoverage makes a day usable, as in analysis/job.
	usableCoverage = 0.9
	// leastSPF is the seasonal performance factor from which on the EU counts the
	// heat of an electric heat pump as renewable (Commission Decision 2013/114/EU).
	leastSPF = 2.5
)

const leastSPFTold = "The line at 2.5 is the seasonal factor from which on the EU counts a heat pump's heat as renewable (Decision 2013/114/EU): " +
	"a measure for a whole year, not for a cold day."

// lastHeard is the time of the newest reading of each site, bridging a restart.
const lastHeard = `max by (site) (last_over_time(coldweek_site_last_reading_timestamp_seconds` + theseHeard + `[7d]))`

func fleet() *page {
	return newPage(fleetUID, "Fleet", "All plants at a glance, the worst first. Figures are of the chosen range.", "now-7d/d", "5m").
		manySites().
		panels(fleetFigures()...).
		panels(fleetTable()).
		row("Day by day").
		panels(fleetDays()...).
		row("Findings").
		panels(fleetFindings())
}

func fleetFigures() []panelBuilder {
	tile := func(title, about, unit, none string) view {
		return view{title: title, about: about, unit: unit, none: none, width: 4, height: 4}
	}
	return []panelBuilder{
		figure(tile("Plants", "Chosen plants that have ever sent a reading.", bare, "none"),
			influx(`SELECT count("seen") AS "Plants" FROM (SELECT max("seen") AS "seen" FROM "channel" WHERE `+theseSites+` GROUP BY "site")`)),
		judged(figure(tile("Silent", "Plants whose newest reading is older than 15 minutes, of those heard in the last seven days. From the service's metrics.",
			bare, "not known"), promNow(`count(time() - `+lastHeard+` > 900) or vector(0)`, "Silent")), steps(plain, from(1, notable))),
		judged(figure(tile("Urgent findings", "Findings that still last and want somebody today.", bare, "none"), openFindings("urgent")),
			steps(plain, from(1, alarm))),
		judged(figure(tile("Findings to look at", "Findings that still last and want attention, the urgent ones not among them.", bare, "none"),
			openFindings("attention")), steps(plain, from(1, notable))),
		figure(withDecimals(tile("SPF", "Heat delivered by electricity taken, each summed over all chosen plants and days. From the site days.", bare,
			"no whole day yet"), 2), influx(spf("net_kwh", "electricity_kwh", "SPF", theseSites, ""))),
		judged(figure(tile("Coverage", "Mean share of the days' time with heat and electricity both measured. Below 90 % the figures of a day say little.",
			ratio, "no whole day yet"), influx(`SELECT mean("coverage") AS "Coverage" FROM "site_day" WHERE `+theseSites+` AND $timeFilter`)),
			steps(notable, from(usableCoverage, plain))),
	}
}

// openFindings counts those that last, since whenever.
func openFindings(severity string) query {
	return influx(`SELECT count("severity") AS "` + severity + `" FROM "finding" WHERE "open" = 1 AND "severity" = '` + severity + `' AND ` + theseSites)
}

// fleetTable joins by site what InfluxDB and Prometheus know of each.
func fleetTable() *table.PanelBuilder {
	const days = `SELECT sum("net_kwh") AS "heat", sum("electricity_kwh") AS "electricity", mean("outdoor_c") AS "outdoor", mean("starts") AS "starts", ` +
		`sum("defrosts") AS "defrosts", mean("coverage") AS "coverage" FROM "site_day" WHERE ` + theseSites + ` AND $timeFilter GROUP BY "site"`
	queries := []query{
		promRows(`time() - ` + lastHeard),
		influxRows(spf("net_kwh", "electricity_kwh", "spf", theseSites, ` GROUP BY "site"`)),
		influxRows(days),
	}
	for _, severity := range []string{"urgent", "attention", "info"} {
		q := openFindings(severity)
		queries = append(queries, influxRows(q.text+` GROUP BY "site"`))
	}
	v := view{
		title: "Plants, worst first",
		about: "One line a plant: by urgent findings, then by findings to look at, then by the age of the newest reading; click a heading for another order, a plant to open it. " +
			"SPF is heat by electricity, each summed over the range; starts are a day's mean, outdoor the mean of the days. From site days, findings and the service's metrics.",
		unit: bare, none: "–", width: 24, height: 12, fields: fleetColumns(),
	}
	b := list(v, []string{"Urgent", "To look at", "Last reading"}, queries...).Filterable(true)
	for _, t := range joinBySite() {
		b.WithTransformation(t)
	}
	return b
}

// joinBySite keeps the columns that are wanted, puts the lines of a site
// together, and names the columns in their order.
func joinBySite() []dashboard.DataTransformerConfig {
	order, names := map[string]int{}, map[string]string{}
	for i, c := range []struct{ column, name string }{
		{"site", "Plant"}, {"Value", "Last reading"}, {"urgent", "Urgent"}, {"attention", "To look at"}, {"info", "To know"}, {"spf", "SPF"},
		{"heat", "Heat"}, {"electricity", "Electricity"}, {"outdoor", "Outdoor"}, {"starts", "Starts a day"}, {"defrosts", "Defrosts"}, {"coverage", "Coverage"},
	} {
		order[c.column], names[c.column] = i, c.name
	}
	return []dashboard.DataTransformerConfig{
		{Id: "filterFieldsByName", Options: map[string]any{"include": map[string]any{
			"pattern": "^(site|Value|urgent|attention|info|spf|heat|electricity|outdoor|starts|defrosts|coverage)$"}}},
		{Id: "joinByField", Options: map[string]any{"byField": "site", "mode": "outer"}},
		{Id: "organize", Options: map[string]any{"indexByName": order, "renameByName": names, "excludeByName": map[string]any{}}},
	}
}

func fleetColumns() []field {
	limits := func(b *dashboard.ThresholdsConfigBuilder) []dashboard.DynamicConfigValue {
		t, _ := b.Build() // of limits written out here, which are valid
		return []dashboard.DynamicConfigValue{
			prop("thresholds", t), prop("color", dashboard.FieldColor{Mode: dashboard.FieldColorModeIdThresholds}),
			prop("custom.cellOptions", map[string]any{"type": "color-text"}),
		}
	}
	toPlant := prop("links", []map[string]any{{"title": "Open ${__value.raw}", "url": "/d/" + plantUID + "?var-site=${__value.raw}"}})
	return []field{
		named("^Plant$", toPlant, prop("custom.width", 220)),
		named("^Last reading$", append(limits(steps(plain, from(silentAfterS, notable), from(lostAfterS, alarm))), prop("unit", age), prop("noValue", "not heard"))...),
		named("^Urgent$", append(limits(steps(plain, from(1, alarm))), prop("decimals", 0))...),
		named("^To look at$", append(limits(steps(plain, from(1, notable))), prop("decimals", 0))...),
		named("^SPF$", prop("decimals", 2)),
		named("^(Heat|Electricity)$", prop("unit", kWh), prop("decimals", 0)),
		named("^Outdoor$", prop("unit", units.Celsius), prop("decimals", 1)),
		named("^(To know|Defrosts)$", prop("decimals", 0)),
		named("^Starts a day$", prop("decimals", 1)),
		named("^Coverage$", append(limits(steps(notable, from(usableCoverage, plain))), prop("unit", ratio), prop("decimals", 0))...),
	}
}

func fleetDays() []panelBuilder {
	const eachPlant = ` GROUP BY time(1d), "site" fill(null)`
	byPlant := func(fields string) query {
		q := influx(`SELECT ` + fields + ` FROM "site_day" WHERE ` + theseSites + ` AND $timeFilter` + eachPlant)
		q.legend = "$tag_site"
		return q
	}
	plantSPF := influx(spf("net_kwh", "electricity_kwh", "SPF", theseSites, eachPlant))
	plantSPF.legend = "$tag_site"
	all := named("^All chosen plants$", coloured(ochre), prop("custom.lineWidth", 4))
	day := func(title, about, unit string, width uint32) view {
		return view{title: title, about: about, unit: unit, none: "no whole day in this range", width: width, height: 9, interval: "1d"}
	}
	return []panelBuilder{
		withLimit(dayLines(withFields(withDecimals(day("SPF of each day", "Heat by electricity of each plant's day, and of all chosen plants together (each summed first). Choose fewer plants to tell them apart. "+
			leastSPFTold, bare, 12), 2), all), plantSPF, influx(spf("net_kwh", "electricity_kwh", "All chosen plants", theseSites, eachDay))), leastSPF),
		bars(withFields(day("Heat and electricity of each day", "Sums over all chosen plants, of the time in which both were measured; the electricity stands before the heat. From the site days.", kWh, 12),
			named("^Heat$", coloured(ochre)), named("^Electricity$", coloured(purple))),
			influx(`SELECT sum("net_kwh") AS "Heat", sum("electricity_kwh") AS "Electricity" FROM "site_day" WHERE `+theseSites+` AND $timeFilter`+eachDay)).Min(0),
		dayLines(day("Starts of each day", "Compressor starts of each day. A defrost within a run is no stop. From the site days.", bare, 8), byPlant(`sum("starts")`)).Min(0),
		dayLines(day("Defrosts of each day", "How many began on each day. From the site days.", bare, 8), byPlant(`sum("defrosts")`)).Min(0),
		dayLines(day("Outdoor temperature", "Mean of each day, from the plant's own sensor.", units.Celsius, 8), byPlant(`mean("outdoor_c")`)),
		withLimit(dayLines(day("Coverage of each day", "Share of each day with heat and electricity both measured. Below the line at 90 % a day's figures say little.", ratio, 12),
			byPlant(`mean("coverage")`)).Min(0).Max(1), usableCoverage),
		lines(view{title: "Age of the newest reading", about: "The twenty plants that were silent the longest. From the service's metrics; a restart begins anew for plants not heard since.",
			unit: age, none: "not known", width: 12, height: 9, interval: "1m"},
			prom(`topk(20, time() - max by (site) (coldweek_site_last_reading_timestamp_seconds`+theseHeard+`))`, "{{site}}")).Min(0),
	}
}

// withLimit draws a dashed line at a limit.
func withLimit(b *timeseries.PanelBuilder, limit float64) *timeseries.PanelBuilder {
	return b.Thresholds(steps(plain, from(limit, alarm))).
		ThresholdsStyle(common.NewGraphThresholdsStyleConfigBuilder().Mode(common.GraphThresholdsStyleModeDashed))
}

func withDecimals(v view, n float64) view {
	v.decimals = &n
	return v
}

func withFields(v view, fields ...field) view {
	v.fields = append(v.fields, fields...)
	return v
}

func fleetFindings() *table.PanelBuilder {
	return list(view{
		title: "Findings that last", about: "What was noticed about the chosen plants and has not ended, since whenever it began. From the findings.",
		unit: bare, none: "nothing found", width: 24, height: 10, fields: findingColumns(),
	}, []string{"Level", "Since"}, influxRows(`SELECT "site" AS "Plant", "kind" AS "What", "severity" AS "Severity", "severity_level" AS "Level" FROM "finding" WHERE "open" = 1 AND `+
		theseSites+` ORDER BY time DESC LIMIT 200`)).Filterable(true)
}

func findingColumns() []field {
	return []field{
		named("^Time$", prop("displayName", "Since"), prop("custom.width", 180)),
		named("^Severity$", severities(), prop("custom.cellOptions", map[string]any{"type": "color-text"})),
		named("^Level$", prop("decimals", 0)),
		named("^Until$", prop("unit", units.DatetimeISO),
			prop("mappings", []dashboard.ValueMap{{Type: dashboard.MappingTypeValueToText, Options: map[string]dashboard.ValueMappingResult{
				"0": {Text: new("lasts"), Index: new(int32(0))}}}})),
	}
}
