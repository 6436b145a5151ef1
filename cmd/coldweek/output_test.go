package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/job"
)

// TestAnAnalysisBeginsWithItsSummary on the check day; figures are those of
// testdata/telemetry/expected.csv at maxgap 120 s.
func TestAnAnalysisBeginsWithItsSummary(t *testing.T) {
	dir := newHome(t, "check-day", `id: check-day
time_zone: UTC
channels:
  outdoor_temp: {column: te_C, unit: Cel}
  flow_rate: {column: flow_l_h, unit: L/h}
  flow_temp: {column: tf_C, unit: Cel}
  return_temp: {column: tr_C, unit: Cel}
  power: {column: power_W, unit: W}
`)
	must(t, "load", "check-day", telemetryFile(t, time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC)), "--home", dir)
	summary, rest, found := strings.Cut(must(t, "analyse", "check-day", "--home", dir, "--from", "2026-01-14", "--to", "2026-01-15"), "\n\n")
	assert.True(t, found)
	assert.NotEmpty(t, rest)
	assert.LessOrEqual(t, strings.Count(summary, "\n")+1, 12, summary)
	for _, line := range []string{
		`^check-day, 14 Jan 2026 to 14 Jan 2026 \(UTC\), coverage 98.2 %\n`, `\n  heat +124\.9 kWh: space `, `\n  electricity +32\.3 kWh\n`,
		`\n  SPF H4 +3\.87 \(\d\.\d\d to \d\.\d\d\)\n`, `\n  flow +`, `\n  cycling +13 starts in `, `\n  defrosts +7, `,
		`\n  heat loss +not known yet; `, `\n  findings +\w`,
	} {
		assert.Regexp(t, line, summary)
	}
	nothing, _, _ := strings.Cut(must(t, "analyse", "check-day", "--home", dir, "--from", "2025-01-14", "--to", "2025-01-15"), "\n\n")
	assert.Equal(t, 7, strings.Count(nothing, "not known\n")+strings.Count(nothing+"\n", "findings     not known\n"), nothing)
}

func TestASummaryNamesTheWorstFindings(t *testing.T) {
	over := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	r := &job.Result{Coverage: 1, Findings: []job.Finding{
		{Severity: "urgent", Title: "over", Until: &over}, {Severity: "info", Title: "small"}, {Severity: "attention", Title: "middling"}, {Severity: "urgent", Title: "bad"},
	}}
	assert.Equal(t, []string{"urgent: bad", "attention: middling", "info: small; and 1 more, see coldweek findings"}, findingsSummary(r))
	r.Findings = r.Findings[:1]
	assert.Equal(t, []string{"urgent: over (ended)"}, findingsSummary(r))
	r.Findings = r.Findings[:0]
	assert.Equal(t, []string{"none"}, findingsSummary(r))
	r.Findings = nil
	assert.Equal(t, []string{"not looked for over so long a time"}, findingsSummary(r))
}
