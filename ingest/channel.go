package ingest

import (
	"fmt"
	"strings"
	"unicode/utf8"
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
	if !utf8.ValidString(place) {
		return fmt.Errorf("place %q is not UTF-8", place)
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
