package grafana

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
	"github.com/grafana/grafana-foundation-sdk/go/units"
)

// dayRange is what figures of days look back over: a page opened for an hour of
// readings shows days all the same.
const dayRange = "30d"

func plant() *page {
	p := newPage(plantUID, "Plant", "One plant: what it does, what its days came to, and what was noticed.", "now-24h", "1m").
		oneSite().
		channels("temperatures", "flow_temp|return_temp|flow_target|outdoor_temp|room_temp").
		channels("flow_rates", "flow_rate").
		channels("powers", "power|backup_power|pump_power|heat_output").
		panels(plantFigures()...).
		row("Readings").
		panels(temperatures(), flowRate(), powers()).
		row("Days: the last thirty, or those of a fixed range").
		panels(plantEnergy()...).
		panels(plantOperation()...).
		row("Findings").
		panels(plantFindings())
	p.builder.Annotation(findingMarks())
	return p
}

func plantFigures() []panelBuilder {
	tile := func(title, about, unit, none string) view {
		return view{title: title, about: about, unit: unit, none: none, width: 4, height: 4, lookBack: dayRange}
	}
	sum := func(name string) query { return ofDays(`sum("`+name+`")`, thisSite) }
	heard := tile("Newest reading", "Age of the newest reading. From the service's metrics; not known of a plant not heard for a week.", age, "not heard")
	heard.lookBack = ""
	return []panelBuilder{
		judged(figure(heard, promNow(`time() - max(last_over_time(coldweek_site_last_reading_timestamp_seconds{site="$site"}[7d]))`, "Age")),
			steps(plain, from(silentAfterS, notable), from(lostAfterS, alarm))),
		figure(withDecimals(tile("SPF", "Heat by electricity, each summed over the days. The heat is space heating and hot water less what defrosts drew.", bare, "no whole day yet"), 2),
			influx(spf("net_kwh", "electricity_kwh", "SPF", thisSite, ""))),
		figure(tile("Heat", "Heat delivered: space heating and hot water less what defrosts drew.", kWh, "no whole day yet"), sum("net_kwh")),
		figure(tile("Electricity", "Electricity taken, standby included, while the heat was measured too.", kWh, "no whole day yet"), sum("electricity_kwh")),
		judged(figure(tile("Coverage", "Mean share of the days' time with heat and electricity both measured. Below 90 % the figures of a day say little.", ratio, "no whole day yet"),
			ofDays(`mean("coverage")`, thisSite)), steps(notable, from(usableCoverage, plain))),
		judged(figure(tile("Findings that last", "Findings that have not ended, since whenever they began.", bare, "none"),
			influx(`SELECT count("severity") AS "Findings" FROM "finding" WHERE "open" = 1 AND `+thisSite)), steps(plain, from(1, notable))),
	}
}

// readingLines joins readings of which the analysis says that they tell of the
// time between them, those up to two minutes apart, and leaves the rest a gap.
func readingLines(v view, channels string) *timeseries.PanelBuilder {
	return shortNames(lines(v, readings(channels)).SpanNulls(common.BoolOrFloat64{Float64: new(120_000.0)}))
}

// shortNames turns the names of InfluxDB's columns into those of the trade:
// mean_room_temp/kitchen becomes "room kitchen".
func shortNames(b *timeseries.PanelBuilder) *timeseries.PanelBuilder {
	for _, step := range [][2]string{
		{`/^mean_(\w+?)(_temp)?$/`, "$1"},
		{`/^mean_(\w+?)(_temp)?\/(.+)$/`, "$1 $3"},
		{`/^(\w+)_(\w+)(.*)$/`, "$1 $2$3"},
	} {
		b.WithTransformation(dashboard.DataTransformerConfig{Id: "renameByRegex", Options: map[string]any{"regex": step[0], "renamePattern": step[1]}})
	}
	return b
}

func temperatures() *timeseries.PanelBuilder {
	return readingLines(view{
		title: "Temperatures",
		about: "Flow, return, flow target (dashed), outdoor and room temperatures as the sensors gave them, each the mean of an interval; every place of a channel is a line. A gap is a gap in the readings.",
		unit:  units.Celsius, none: "no readings in this range", width: 24, height: 11, interval: "1m", decimals: new(1.0),
		fields: []field{
			named("^flow( |$)", coloured(ochre)), named("^flow target", coloured(purple), dashed()), named("^return", coloured(blue)),
			named("^outdoor", coloured(grey)), named("^room", coloured(green), prop("custom.lineWidth", 1)),
		},
	}, "temperatures")
}

func flowRate() *timeseries.PanelBuilder {
	return readingLines(view{
		title: "Flow rate", about: "Water through the plant as the flow sensor gave it, the mean of an interval. What the maker asks for at least, and what was found at commissioning, stand in the site record.",
		unit: litresPerHour, none: "no flow rate in this range", width: 12, height: 9, interval: "1m", decimals: new(0.0),
		fields: []field{named("^flow rate", coloured(blue))},
	}, "flow_rates").Min(0)
}

func powers() *timeseries.PanelBuilder {
	return readingLines(view{
		title: "Power", about: "Electricity of the plant, and of backup heater and pump where they are measured by themselves; heat output where a heat meter gives it. Means of an interval.",
		unit: units.Watt, none: "no power in this range", width: 12, height: 9, interval: "1m",
		fields: []field{
			named("^power", coloured(purple)), named("^heat output", coloured(ochre)), named("^backup power", coloured(grey), dashed()), named("^pump power", coloured(blue)),
		},
	}, "powers")
}

// ofDay is a panel of the plant's days.
func ofDay(title, about, unit string, width uint32, fields ...field) view {
	return view{title: title, about: about, unit: unit, none: "no whole day in this range", width: width, height: 9, interval: "1d", lookBack: dayRange, fields: fields}
}

func plantEnergy() []panelBuilder {
	return []panelBuilder{
		stacked(ofDay("Heat of each day", "Heat into the rooms and into hot water; below the line what defrosts drew back out of the water. Above less below is what was delivered. From the site days.", kWh, 12,
			named("^Space heating$", coloured(ochre)), named("^Hot water$", coloured(purple)), named("^Drawn by defrosts$", coloured(blue))),
			ofDays(`"space_kwh" AS "Space heating", "hot_water_kwh" AS "Hot water", "defrost_drawn_kwh" * -1 AS "Drawn by defrosts"`, thisSite)),
		stacked(ofDay("Electricity of each day", "Electricity by what the plant was doing; standby is the rest, circulating included. The parts add up to the total. From the site days.", kWh, 12,
			named("^Space heating$", coloured(ochre)), named("^Hot water$", coloured(purple)), named("^Defrosts$", coloured(blue)), named("^Standby$", coloured(grey))),
			ofDays(`"space_electricity_kwh" AS "Space heating", "hot_water_electricity_kwh" AS "Hot water", "defrost_electricity_kwh" AS "Defrosts", "standby_electricity_kwh" AS "Standby"`, thisSite)),
		withLimit(dayLines(withDecimals(ofDay("SPF of each day", "Heat by electricity of each day: of everything, of space heating (its defrosts aside) and of hot water, with the day's outdoor temperature, which it follows. "+leastSPFTold, bare, 24,
			named("^Overall$", coloured(ochre), prop("custom.lineWidth", 3)), named("^Space heating$", coloured(green)), named("^Hot water$", coloured(purple)),
			named("^Outdoor$", append(lineOnTheRight(units.Celsius, "outdoor"), coloured(grey), dashed())...)), 2),
			influx(spf("net_kwh", "electricity_kwh", "Overall", thisSite, eachDay)),
			influx(spf("space_kwh", "space_electricity_kwh", "Space heating", thisSite, eachDay)),
			influx(spf("hot_water_kwh", "hot_water_electricity_kwh", "Hot water", thisSite, eachDay)),
			eachDayOf("outdoor_c", "Outdoor")), leastSPF),
	}
}

// eachDayOf is a figure of the plant's days, days without it left empty.
func eachDayOf(name, as string) query {
	q := ofDays(`mean("`+name+`") AS "`+as+`"`, thisSite)
	q.text += eachDay
	return q
}

func plantOperation() []panelBuilder {
	return []panelBuilder{
		bars(ofDay("Defrosts of each day", "How many began, and for how long the plant defrosted in all. From the site days.", bare, 8,
			named("^Defrosts$", coloured(blue)), named("^Minutes$", append(lineOnTheRight(units.Minutes, "defrosting"), coloured(ochre))...)),
			ofDays(`"defrosts" AS "Defrosts"`, thisSite), eachDayOf("defrost_minutes", "Minutes")).Min(0),
		bars(ofDay("Starts of each day", "Compressor starts, a defrost within a run being no stop; before them the whole runs shorter than the record allows, ten minutes if it does not say. From the site days.", bare, 8,
			named("^Starts$", coloured(blue)), named("^Short runs$", coloured(ochre))),
			ofDays(`"starts" AS "Starts", "short_runs" AS "Short runs"`, thisSite)).Min(0),
		bars(ofDay("Running time of each day", "Hours the compressor ran, defrosts included. From the site days.", hours, 8, named("^Running$", coloured(blue))),
			ofDays(`"run_hours" AS "Running"`, thisSite)).Min(0).Max(24),
		dayLines(ofDay("Flow rate of each day", "Median and tenth percentile of the flow rate in steady heating. A fall from week to week wants a look at strainer and valves. From the site days.", litresPerHour, 8,
			named("^Median$", coloured(blue)), named("^Tenth percentile$", coloured(grey), dashed())),
			eachDayOf("flow_median_lph", "Median"), eachDayOf("flow_p10_lph", "Tenth percentile")).Min(0),
		dayLines(ofDay("Flow to return of each day", "Median difference between flow and return temperature in steady heating. From the site days.", units.Kelvin, 8, named("^Difference$", coloured(ochre))),
			eachDayOf("difference_median_k", "Difference")),
		withLimit(bars(ofDay("Coverage of each day", "Share of the day with heat and electricity both measured. Below the line at 90 % a day's figures say little.", ratio, 8, named("^Coverage$", coloured(blue))),
			ofDays(`"coverage" AS "Coverage"`, thisSite)).Min(0).Max(1), usableCoverage),
	}
}

func plantFindings() *table.PanelBuilder {
	return list(view{
		title: "Findings", about: "What was noticed about this plant, whatever the range, the newest first; the last hundred.",
		unit: bare, none: "nothing found", width: 24, height: 9, fields: findingColumns(),
	}, []string{"Since"}, influxRows(`SELECT "kind" AS "What", "severity" AS "Severity", "severity_level" AS "Level", "until_ms" AS "Until" FROM "finding" WHERE `+
		thisSite+` ORDER BY time DESC LIMIT 100`)).CellHeight(common.TableCellHeightSm)
}

// findingMarks shows on every time axis of the page when findings of the range
// began and ended.
func findingMarks() *dashboard.AnnotationQueryBuilder {
	marks := query{source: influxSource, text: `SELECT "kind", "severity", "until_ms" FROM "finding" WHERE ` + thisSite + ` AND $timeFilter`, rows: true}
	target := marks.influx("Findings")
	for name, value := range map[string]any{
		"fromAnnotations": true, "textEditor": true, "textColumn": "kind", "tagsColumn": "severity", "timeEndColumn": "until_ms",
	} {
		target[name] = value
	}
	return dashboard.NewAnnotationQueryBuilder().Name("Findings").Datasource(influxSource).Enable(true).IconColor(notable).
		Target(variants.NewUnknownDataqueryBuilderFromObject(target))
}
