package watch

import (
	"slices"
	"strings"
)

// Kinds returns the names of all kinds of findings, without place or channel, in
// alphabetical order.
func Kinds() []string {
	var kinds []string
	for _, r := range table() {
		if !strings.HasSuffix(r.name, "_") {
			kinds = append(kinds, r.name)
		}
	}
	for _, fault := range faults {
		kinds = append(kinds, fault.name)
	}
	slices.Sort(kinds)
	return slices.Compact(kinds)
}
