package ingest

import (
	"fmt"
	"strings"
)

// Channel is a quantity and, when there are several of them, a place:
// "flow_temp", "room_temp/kitchen".
type Channel string

// maxPlaceLength bounds what a topic or column can make a channel name of.
const maxPlaceLength = 64

// NewChannel joins a quantity and a place; an empty place is the plant's own.
func NewChannel(q Quantity, place string) Channel {
	if place == "" {
		return Channel(q)
	}
	return Channel(string(q) + "/" + place)
}

// ParseChannel reads a channel's name. The error names the nearest known
// quantity.
func ParseChannel(s string) (Channel, error) {
	name, place, placed := strings.Cut(s, "/")
	if !Quantity(name).Known() {
		return "", fmt.Errorf("channel %q: %q is no known quantity; did you mean %q?", s, name, nearestQuantity(name))
	}
	if placed {
		if err := checkPlace(place); err != nil {
			return "", fmt.Errorf("channel %q: %w", s, err)
		}
	}
	return Channel(s), nil
}

func checkPlace(place string) error {
	if place == "" || len(place) > maxPlaceLength {
		return fmt.Errorf("a place has 1 to %d characters", maxPlaceLength)
	}
	for _, r := range place {
		if r <= ' ' || r == '/' || r == '+' || r == '#' || r == ',' || r == '"' || r == 0x7f {
			return fmt.Errorf("place %q holds %q; use letters, digits, - and _", place, r)
		}
	}
	return nil
}

// Quantity returns what the channel measures.
func (c Channel) Quantity() Quantity {
	name, _, _ := strings.Cut(string(c), "/")
	return Quantity(name)
}

// Place returns where, or "" for the plant's own channel.
func (c Channel) Place() string {
	_, place, _ := strings.Cut(string(c), "/")
	return place
}

// Unit returns the canonical unit of the channel's values.
func (c Channel) Unit() Unit { return c.Quantity().Unit() }

// columnSuffixes are the unit endings of column names, canonical ones first.
var columnSuffixes = []struct {
	suffix string
	unit   Unit
}{
	{"_c", DegreeCelsius}, {"_k", "K"}, {"_f", "[degF]"},
	{"_lph", LitrePerHour}, {"_lpm", "L/min"}, {"_lps", "L/s"}, {"_m3h", "m3/h"}, {"_m3_h", "m3/h"},
	{"_w", Watt}, {"_kw", "kW"},
	{"_kwh", KilowattHour}, {"_wh", "W.h"}, {"_mwh", "MW.h"},
	{"_m3", CubicMetre}, {"_l", "L"},
	{"_hz", Hertz}, {"_rpm", "/min"},
	{"_bar", Bar}, {"_kpa", "kPa"},
	{"_pct", Percent}, {"_w_m2", WattPerSquareMetre}, {"_wm2", WattPerSquareMetre},
}

// ColumnName returns the channel's name in a file: the channel plus its unit,
// as in "flow_temp_c" or "room_temp/kitchen_c".
func (c Channel) ColumnName() string {
	for _, s := range columnSuffixes {
		if s.unit == c.Unit() {
			return string(c) + s.suffix
		}
	}
	return string(c)
}

// ParseColumn reads a column name: a channel plus its unit, the unit after
// the place or after the quantity ("room_temp_c/kitchen"). The mode channel
// has no unit.
func ParseColumn(name string) (Channel, Unit, error) {
	if c, err := ParseChannel(name); err == nil && c.Unit() == One {
		return c, One, nil
	}
	head, place, _ := strings.Cut(name, "/")
	for _, s := range columnSuffixes {
		candidate := ""
		if base, ok := strings.CutSuffix(head, s.suffix); ok && Quantity(base).Known() {
			candidate = string(NewChannel(Quantity(base), place))
		} else if base, ok := strings.CutSuffix(name, s.suffix); ok && Quantity(head).Known() {
			candidate = base
		}
		if c, err := ParseChannel(candidate); err == nil && s.unit.FitsIn(c.Unit()) {
			return c, s.unit, nil
		}
	}
	if c, err := ParseChannel(name); err == nil {
		return "", "", fmt.Errorf("column %q names no unit; write %q", name, c.ColumnName())
	}
	return "", "", fmt.Errorf("column %q is no channel plus its unit, such as %q; nearest: %q",
		name, Channel(FlowTemp).ColumnName(), Channel(nearestQuantity(head)).ColumnName())
}
