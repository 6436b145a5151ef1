package influx

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// place is where a site day or a finding stands.
type place struct {
	site, kind string // kind is "" for a day
	ms         int64
}

// entry is a point that replaces the one in its place.
type entry struct {
	place
	figures []string // the fields that other tools may draw
	line    string
}

// replace writes entries in place of those that are there. Writing a point
// anew leaves the fields that only the old one had, which would go on being
// drawn: such a point is deleted first.
func (s *Store) replace(ctx context.Context, measurement string, entries []entry) error {
	last := make(map[place]entry)
	sites := make(map[string][]entry)
	for _, e := range entries {
		last[e.place] = e
	}
	for _, e := range last {
		sites[e.site] = append(sites[e.site], e)
	}
	for _, site := range slices.Sorted(maps.Keys(sites)) {
		if err := s.deleteStale(ctx, measurement, site, sites[site], last); err != nil {
			return err
		}
	}
	var lines []string
	for _, e := range last {
		lines = append(lines, e.line)
	}
	for part := range slices.Chunk(lines, entriesAtOnce) {
		if err := s.sendLines(ctx, part); err != nil {
			return err
		}
	}
	return nil
}

const entriesAtOnce = 500 // with their details some megabytes at most

// deleteStale deletes the site's points that hold figures which their
// replacement does not.
func (s *Store) deleteStale(ctx context.Context, measurement, site string, entries []entry, last map[place]entry) error {
	fromMS, toMS := entries[0].ms, entries[0].ms
	for _, e := range entries {
		fromMS, toMS = min(fromMS, e.ms), max(toMS, e.ms)
	}
	var stale []place
	err := s.query(ctx, fmt.Sprintf(`SELECT %s FROM %s WHERE "site" = %s AND %s GROUP BY "kind"`,
		ident(figuresField), ident(measurement), text(site), between(fromMS, toMS+1)), func(h *head, row []cell) error {
		there := place{site, h.tag("kind"), row[0].whole}
		figures := fieldList(row[1].text)
		if e, ok := last[there]; ok && slices.ContainsFunc(figures, func(f string) bool { return !slices.Contains(e.figures, f) }) {
			stale = append(stale, there)
		}
		return nil
	})
	for _, there := range stale {
		if err == nil {
			err = s.delete(ctx, measurement, there)
		}
	}
	return err
}

// delete deletes one point. InfluxQL's DELETE is of the whole database, in
// InfluxDB 2 of its default policy (executeDeleteSeriesStatement in
// v1/coordinator/statement_executor.go); there the interface of its own, which
// 1.8 does not have, names the bucket (http/delete_handler.go).
func (s *Store) delete(ctx context.Context, measurement string, p place) error {
	at := time.UnixMilli(p.ms).UTC()
	if s.isV2.Load() {
		predicate := fmt.Sprintf(`_measurement=%s AND site=%s`, ident(measurement), ident(escapeName(p.site)))
		if p.kind != "" {
			predicate += ` AND kind=` + ident(escapeName(p.kind))
		}
		return s.client.DeleteAPI().DeleteWithName(ctx, s.options.Org, s.options.Bucket, at, at, predicate)
	}
	condition := fmt.Sprintf(`"site" = %s AND time = %s`, text(p.site), nanos(p.ms))
	if p.kind != "" {
		condition += ` AND "kind" = ` + text(p.kind)
	}
	return s.query(ctx, fmt.Sprintf(`DELETE FROM %s WHERE %s`, ident(measurement), condition), nil)
}

// fieldList takes listFields back, which keeps field names in one string.
func fieldList(list string) []string {
	if list == "" {
		return nil
	}
	fields := strings.Split(list, ",")
	for i, field := range fields {
		fields[i] = strings.ReplaceAll(field, "%2C", ",")
	}
	return fields
}

func listFields(fields []string) string {
	list := make([]string, len(fields))
	for i, field := range fields {
		list[i] = strings.ReplaceAll(field, ",", "%2C")
	}
	return strings.Join(list, ",")
}
