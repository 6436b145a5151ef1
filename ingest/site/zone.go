package site

import (
	_ "embed" // the list of zone names
	"strconv"
	"strings"
	"sync"
	"time"
)

//go:embed zones.txt
var zoneList string

// zoneNames are the places of the IANA database, to suggest one from; any
// other name the database knows is accepted too.
var zoneNames = sync.OnceValue(func() []string {
	_, names, _ := strings.Cut(zoneList, "\n")
	return strings.Fields(names)
})

// loadZone reads an IANA name. "Local" is none: local days must not depend on
// the machine that computes them.
func loadZone(name string) (*time.Location, bool) {
	if name == "Local" || name == "" {
		return nil, false
	}
	zone, err := time.LoadLocation(name)
	return zone, err == nil
}

// zoneFix suggests the zone whose name or city is nearest.
func zoneFix(name string) string {
	city := strings.ReplaceAll(strings.ToLower(name[strings.LastIndex(name, "/")+1:]), " ", "_")
	for _, known := range zoneNames() {
		if strings.HasSuffix(strings.ToLower(known), "/"+city) {
			return "did you mean " + strconv.Quote(known) + "?"
		}
	}
	if known := near(name, zoneNames()); known != "" {
		return "did you mean " + strconv.Quote(known) + "?"
	}
	return "write the IANA name of a place, such as Europe/London"
}
