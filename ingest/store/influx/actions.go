package influx

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"coldweek/ingest/store"
)

const (
	deedField   = "deed"
	personField = "person"
	noteField   = "note"
)

// AddAction keeps an action.
func (s *Store) AddAction(ctx context.Context, a store.Action) error {
	line, err := actionLine(a)
	if err == nil {
		err = s.sendLines(ctx, []string{line})
	}
	if err != nil {
		return fmt.Errorf("keep action on %s of %q: %w", a.Kind, a.Site, err)
	}
	return nil
}

func actionLine(a store.Action) (string, error) {
	if err := a.Check(); err != nil {
		return "", err
	}
	untilMS := int64(0)
	if !a.Until.IsZero() {
		untilMS = a.Until.UnixMilli()
	}
	e := newEncoder(200)
	e.StartLine("finding_action")
	e.AddTag("kind", escapeName(a.Kind))
	e.AddTag("site", escapeName(a.Site))
	e.AddField(deedField, lineprotocol.MustNewValue(string(a.Deed)))
	for field, value := range map[string]string{personField: a.By, noteField: a.Note} {
		v, ok := lineprotocol.StringValue(escapeName(value)) // a line break would not come back
		if !ok {
			return "", fmt.Errorf("%s %q is not UTF-8", field, value)
		}
		e.AddField(field, v)
	}
	e.AddField(untilField, lineprotocol.IntValue(untilMS))
	e.EndLine(a.At)
	line, err := e.done()
	return string(line), err
}

// Actions returns a site's actions in the order of their times.
func (s *Store) Actions(ctx context.Context, site string) ([]store.Action, error) {
	var actions []store.Action
	err := s.query(ctx, fmt.Sprintf(`SELECT * FROM "finding_action" WHERE "site" = %s`, text(site)), func(h *head, row []cell) error {
		r := recordOf(h, row)
		a := store.Action{
			Site: site, Kind: unescapeName(r["kind"].text), At: time.UnixMilli(r["time"].whole).UTC(),
			Deed: store.Deed(r[deedField].text), By: unescapeName(r[personField].text), Note: unescapeName(r[noteField].text),
		}
		if ms := r[untilField].whole; ms != 0 {
			a.Until = time.UnixMilli(ms).UTC()
		}
		actions = append(actions, a)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read actions of %q: %w", site, err)
	}
	slices.SortStableFunc(actions, func(a, b store.Action) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Kind, b.Kind))
	})
	return actions, nil
}
