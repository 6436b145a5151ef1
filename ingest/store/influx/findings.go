package influx

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"coldweek/ingest/store"
)

const (
	severityField      = "severity"
	severityLevelField = "severity_level" // 1 info, 2 attention, 3 urgent
	untilField         = "until_ms"       // 0 while it lasts
	openField          = "open"           // 1 while it lasts
	evidencePrefix     = "evidence_"
)

func evidenceField(name string) string { return evidencePrefix + escapeName(name) }

func evidenceName(field string) string {
	return unescapeName(strings.TrimPrefix(field, evidencePrefix))
}

// PutFindings stores the findings, each in place of the one with its site, kind
// and beginning.
func (s *Store) PutFindings(ctx context.Context, findings []store.Finding) error {
	if len(findings) == 0 {
		return nil
	}
	entries := make([]entry, len(findings))
	for i, f := range findings {
		var err error
		if entries[i], err = findingEntry(f); err != nil {
			return fmt.Errorf("store %d findings: %s of %q since %s: %w", len(findings), f.Kind, f.Site, f.Since.UTC().Format(time.RFC3339), err)
		}
	}
	if err := s.replace(ctx, "finding", entries); err != nil {
		return fmt.Errorf("store %d findings: %w", len(findings), err)
	}
	return nil
}

func findingEntry(f store.Finding) (entry, error) {
	if err := f.Check(); err != nil {
		return entry{}, err
	}
	if f.Since.Before(earliest) || !f.Since.Before(latest) {
		return entry{}, fmt.Errorf("InfluxDB holds times from %s to %s", earliest.Format(time.DateOnly), latest.Format(time.DateOnly))
	}
	untilMS, open := f.Until.UnixMilli(), int64(0)
	if f.Until.IsZero() {
		untilMS, open = 0, 1
	}
	e := newEncoder(1000)
	e.StartLine("finding")
	e.AddTag("kind", escapeName(f.Kind))
	e.AddTag("site", escapeName(f.Site))
	e.AddField(severityField, lineprotocol.MustNewValue(string(f.Severity)))
	e.AddField(severityLevelField, lineprotocol.IntValue(int64(slices.Index(store.Severities(), f.Severity)+1)))
	e.AddField(untilField, lineprotocol.IntValue(untilMS))
	e.AddField(openField, lineprotocol.IntValue(open))
	figures, err := e.putFigures(f.Fields, evidenceField)
	if err != nil {
		return entry{}, err
	}
	if err := e.putDetail(f.Detail); err != nil {
		return entry{}, err
	}
	e.EndLine(f.Since)
	line, err := e.done()
	return entry{place{f.Site, f.Kind, f.Since.UnixMilli()}, figures, string(line)}, err
}

// Findings returns those that began before to and had not ended by from, in the
// order they began, then by kind.
func (s *Store) Findings(ctx context.Context, site string, from, to time.Time) ([]store.Finding, error) {
	endedMS, toMS := span(from.Add(1), to)
	var findings []store.Finding
	err := s.query(ctx, fmt.Sprintf(`SELECT * FROM "finding" WHERE "site" = %s AND time < %s AND ("open" = 1 OR "until_ms" >= %d)`,
		text(site), nanos(toMS), endedMS), func(h *head, row []cell) error {
		f, err := findingOf(recordOf(h, row))
		f.Site = site
		findings = append(findings, f)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read findings of %q: %w", site, err)
	}
	slices.SortStableFunc(findings, func(a, b store.Finding) int {
		return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.Kind, b.Kind))
	})
	return findings, nil
}

func findingOf(r record) (store.Finding, error) {
	f := store.Finding{
		Kind:     unescapeName(r["kind"].text),
		Since:    time.UnixMilli(r["time"].whole).UTC(),
		Severity: store.Severity(r[severityField].text),
		Fields:   r.figures(evidenceName),
	}
	if r[openField].whole == 0 {
		f.Until = time.UnixMilli(r[untilField].whole).UTC()
	}
	var err error
	if f.Detail, err = r.detail(); err != nil {
		return f, fmt.Errorf("%s since %s: %w", f.Kind, f.Since.Format(time.RFC3339), err)
	}
	return f, nil
}
