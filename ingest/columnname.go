package ingest

import (
	"errors"
	"fmt"
	"strings"
)

// columnSuffixes are the unit endings of column names; the first of a unit is
// the one ColumnName writes.
var columnSuffixes = []struct {
	suffix string
	unit   Unit
}{
	{"c", DegreeCelsius}, {"k", "K"}, {"f", "[degF]"},
	{"lph", LitrePerHour}, {"lpm", "L/min"}, {"lps", "L/s"}, {"m3h", "m3/h"}, {"m3_h", "m3/h"},
	{"w", Watt}, {"kw", "kW"},
	{"kwh", KilowattHour}, {"wh", "W.h"}, {"mwh", "MW.h"},
	{"m3", CubicMetre}, {"l", "L"},
	{"hz", Hertz}, {"rpm", "/min"},
	{"bar", Bar}, {"kpa", "kPa"},
	{"pct", Percent}, {"w_m2", WattPerSquareMetre}, {"wm2", WattPerSquareMetre},
}

// ColumnName returns the channel's name in a file: the channel plus its unit,
// as in "flow_temp_c" or "room_temp/kitchen_c".
func (c Channel) ColumnName() string {
	for _, s := range columnSuffixes {
		if s.unit == c.Unit() {
			return string(c) + "_" + s.suffix
		}
	}
	return string(c)
}

// ParseColumn reads a column name: a channel plus its unit, the unit after
// the place or after the quantity ("room_temp/kitchen_c", "room_temp_c/kitchen").
// The mode channel has no unit. The error names the column that would be right.
func ParseColumn(name string) (Channel, Unit, error) {
	head, place, _ := strings.Cut(name, "/")
	quantity, suffix := splitQuantity(head)
	if quantity == "" {
		return "", "", fmt.Errorf("column %q is no channel plus its unit; did you mean %q?", name, nearestColumn(head))
	}
	if suffix == "" && quantity.Unit() != One {
		place, suffix = splitUnit(place)
	}
	c, err := ParseChannel(string(NewChannel(quantity, place)))
	if err != nil {
		return "", "", fmt.Errorf("column %q: %w", name, err)
	}
	u, err := columnUnit(suffix, c)
	if err != nil {
		return "", "", fmt.Errorf("column %q %w; write %q", name, err, c.ColumnName())
	}
	return c, u, nil
}

// splitQuantity cuts the longest known quantity off the front of a column's
// head; what is left is its unit.
func splitQuantity(head string) (quantity Quantity, suffix string) {
	for q := range quantities {
		rest, found := strings.CutPrefix(head, string(q))
		if found && len(q) > len(quantity) && (rest == "" || len(rest) > 1 && rest[0] == '_') {
			quantity, suffix = q, strings.TrimPrefix(rest, "_")
		}
	}
	return quantity, suffix
}

// splitUnit cuts the longest unit ending off a place.
func splitUnit(s string) (place, suffix string) {
	place = s
	for _, known := range columnSuffixes {
		base, found := strings.CutSuffix(s, "_"+known.suffix)
		if found && len(known.suffix) > len(suffix) {
			place, suffix = base, known.suffix
		}
	}
	return place, suffix
}

func columnUnit(suffix string, c Channel) (Unit, error) {
	if suffix == "" {
		if c.Unit() == One {
			return One, nil
		}
		return "", errors.New("names no unit")
	}
	for _, known := range columnSuffixes {
		if known.suffix == suffix && known.unit.FitsIn(c.Unit()) {
			return known.unit, nil
		}
	}
	return "", fmt.Errorf("ends in %q, which is no unit of %s", suffix, c.Quantity())
}

func nearestColumn(head string) string {
	names := make([]string, 0, len(quantities))
	for _, q := range Quantities() {
		names = append(names, Channel(q).ColumnName())
	}
	return Nearest(head, names)
}
