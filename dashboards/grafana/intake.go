package grafana

import (
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/units"
)

func intake() *page {
	return newPage(intakeUID, "Intake", "How messages come in, whether they are kept, and how far behind the database is. From the service's metrics.", "now-3h", "30s").
		manySites().
		panels(intakeFigures()...).
		row("Messages").
		panels(intakeMessages()...).
		row("On the way to the database").
		panels(intakeJournal()...).
		row("Plants").
		panels(intakePlants()...)
}

// perS is a counter's rate, over all instances of the service.
func perS(counter string) string { return `sum(rate(` + counter + `[$__rate_interval]))` }

func intakeFigures() []panelBuilder {
	tile := func(title, about, unit, none string) view {
		return view{title: title, about: about, unit: unit, none: none, width: 4, height: 4}
	}
	trend := func(v view, expr string) *stat.PanelBuilder {
		return figure(v, prom(expr, v.title)).GraphMode(common.BigValueGraphModeArea)
	}
	return []panelBuilder{
		judged(figure(upOrDown(tile("Database", "Whether InfluxDB answered when it was last tried; the worst of several instances. Nothing is lost while it does not: readings wait in the journal.",
			bare, "readings rest on this machine")), promNow(`min(coldweek_database_up)`, "Database")), steps(alarm, from(1, fine))),
		trend(tile("Messages", "Messages taken in each second and safe on disk, refused ones included.", perSecond, "the service does not answer"), perS("coldweek_ingest_messages_total")),
		trend(tile("Waiting to be kept", "Messages that wait for their commit now. A number that keeps rising means that the disk does not keep up.", messages,
			"the service does not answer"), `sum(coldweek_ingest_queued_messages)`),
		trend(tile("Waiting in the journal", "Readings that are safe on this machine and not yet in the database.", "suffix:readings", "no journal"),
			`sum(coldweek_journal_readings)`),
		judged(figure(tile("Lost at a stop", "Messages given back unacknowledged in the last day because the service stopped while commits failed; the broker sends them again.", messages, "not known"),
			promNow(`sum(increase(coldweek_ingest_messages_lost_total[1d]))`, "Lost")), steps(plain, from(1, notable))),
		figure(tile("Version", "What is running.", bare, "the service does not answer"), promNow(`count by (version) (coldweek_build_info)`, "{{version}}")).
			TextMode(common.BigValueTextModeName),
	}
}

// upOrDown puts words for 1 and 0.
func upOrDown(v view) view {
	return withFields(v, named(".*", prop("mappings", []dashboard.ValueMap{{Type: dashboard.MappingTypeValueToText, Options: map[string]dashboard.ValueMappingResult{
		"0": {Text: new("does not answer"), Index: new(int32(0))},
		"1": {Text: new("answers"), Index: new(int32(1))},
	}}})))
}

// behindS is what readings may wait for the database before an alert is raised, as
// in deploy/prometheus.
const behindS = 3600

// over is a panel of the service at work.
func over(title, about, unit, none string, width uint32, fields ...field) view {
	return view{title: title, about: about, unit: unit, none: none, width: width, height: 8, interval: "30s", fields: fields}
}

func intakeMessages() []panelBuilder {
	latency := func(quantile, name string) query {
		return prom(`histogram_quantile(`+quantile+`, sum by (le) (rate(coldweek_ingest_acknowledgement_seconds_bucket[$__rate_interval])))`, name)
	}
	return []panelBuilder{
		lines(over("Messages and readings", "What is taken in each second and safe on disk. Readings that changed nothing were there already: sent twice, or again after an outage.", perSecond, "the service does not answer", 12,
			named("^Messages$", coloured(purple)), named("^Readings$", coloured(ochre)), named("^Readings new or changed$", coloured(blue), dashed())),
			prom(perS("coldweek_ingest_messages_total"), "Messages"), prom(perS("coldweek_ingest_readings_total"), "Readings"),
			prom(perS("coldweek_ingest_readings_changed_total"), "Readings new or changed")).Min(0),
		lines(over("Time to acknowledgement", "From a message's arrival until it is safe on disk and acknowledged: what half, nine in ten and 99 in 100 stay below. From a histogram, so between its edges.", units.Seconds, "no messages in this range", 12,
			named("^Half$", coloured(blue)), named("^Nine in ten$", coloured(ochre)), named("^99 in 100$", coloured(purple), dashed())),
			latency("0.5", "Half"), latency("0.9", "Nine in ten"), latency("0.99", "99 in 100")).Min(0),
		lines(over("Refused", "Messages, or values of them, that could not become readings and went into quarantine, by reason. `coldweek quarantine` shows them.", perMinute, "nothing refused in this range", 12),
			prom(`sum by (reason) (rate(coldweek_ingest_refused_total[$__rate_interval])) * 60 > 0`, "{{reason}}")).Min(0).ShowPoints(common.VisibilityModeAlways),
		lines(over("In quarantine", "Refused messages that are there to look at; the oldest are dropped when there are too many.", messages, "the quarantine is empty", 12),
			prom(`max by (reason) (coldweek_quarantine_messages) > 0`, "{{reason}}")).Min(0),
		lines(over("Commits", "Commits each second, one for all messages that waited for it, and attempts that failed: these are made again, and nothing is acknowledged meanwhile.", perSecond, "the service does not answer", 12,
			named("^Commits$", coloured(blue)), named("^Failed$", coloured(alarm), dashed())),
			prom(perS("coldweek_ingest_commits_total"), "Commits"), prom(perS("coldweek_ingest_commit_failures_total"), "Failed")).Min(0),
		lines(over("Waiting to be kept, by instance", "Messages that wait for their commit.", messages, "the service does not answer", 12),
			prom(`sum by (instance) (coldweek_ingest_queued_messages)`, "{{instance}}")).Min(0),
	}
}

func intakeJournal() []panelBuilder {
	const none = "no journal: readings rest on this machine"
	return []panelBuilder{
		lines(over("Readings in the journal", "Readings that are safe on this machine and wait for the database. They rise while it does not answer and are worked off after.", "suffix:readings", none, 8,
			named("^Readings$", coloured(ochre))), prom(`sum(coldweek_journal_readings)`, "Readings")).Min(0),
		withLimit(lines(over("Age of the oldest", "How long the oldest batch in the journal has waited; 0 when none does. Beyond the line at one hour Prometheus raises DatabaseBehind.", age, none, 8, named("^Age$", coloured(purple))),
			prom(`time() - min(coldweek_journal_oldest_timestamp_seconds) or 0 * min(coldweek_journal_readings)`, "Age")).Min(0), behindS),
		lines(over("Forwarded", "Readings that the database took each second, and attempts that failed each minute.", perSecond, none, 8,
			named("^Readings$", coloured(blue)), named("^Failed attempts$", append(lineOnTheRight(perMinute, "failed"), coloured(alarm), dashed(), prop("min", 0))...)),
			prom(perS("coldweek_journal_forwarded_readings_total"), "Readings"),
			prom(perS("coldweek_journal_forward_failures_total")+` * 60`, "Failed attempts")).Min(0),
		lines(over("Database answers", "1 while InfluxDB answers, 0 while it does not; by instance of the service.", bare, none, 24),
			prom(`min by (instance) (coldweek_database_up)`, "{{instance}}")).Min(0).Max(1).Height(5),
	}
}

func intakePlants() []panelBuilder {
	columns := dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
		"excludeByName": map[string]bool{"Time": true}, "indexByName": map[string]int{"site": 0, "Value": 1},
		"renameByName": map[string]string{"site": "Plant", "Value": "Behind by"}}}
	return []panelBuilder{
		lines(view{title: "Behind by", about: "Age of the newest reading on disk, of the twenty plants behind the most. A plant not heard since the service began is not among them.", unit: age,
			none: "no plant heard yet", width: 14, height: 9, interval: "30s"},
			prom(`topk(20, time() - max by (site) (coldweek_site_last_reading_timestamp_seconds`+theseHeard+`))`, "{{site}}")).Min(0),
		list(view{title: "Plants behind", about: "Age of each plant's newest reading now, the oldest first; of plants heard in the last seven days.", unit: age, none: "no plant heard yet",
			width: 10, height: 9}, []string{"Behind by"}, promRows(`time() - `+lastHeard)).WithTransformation(columns),
	}
}
