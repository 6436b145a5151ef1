package web

import (
	"cmp"
	"math"
	"slices"

	"coldweek/dashboards/chart"
)

// mostPoints of a scatter keep the page's weight; a reader tells no more apart.
const mostPoints = 900

// thinned returns hours of settled heating as points, one for each place on a raster
// that is made coarser until there are few enough.
func thinned(h *hourly) []chart.CurveHour {
	for cellK := 0.1; ; cellK *= 1.5 {
		taken := map[[2]int]bool{}
		var points []chart.CurveHour
		for i := range h.unixMS {
			outdoorC, flowC := h.steadyOutC[i], h.flowC[i]
			if math.IsNaN(outdoorC) || math.IsNaN(flowC) {
				continue
			}
			cell := [2]int{int(math.Floor(outdoorC / cellK)), int(math.Floor(flowC / cellK))}
			if !taken[cell] {
				taken[cell] = true
				points = append(points, chart.CurveHour{OutdoorC: outdoorC, FlowC: flowC})
			}
		}
		if len(points) <= mostPoints {
			return points
		}
	}
}

func sortByOutdoor(points []chart.CurveHour) {
	slices.SortFunc(points, func(a, b chart.CurveHour) int { return cmp.Compare(a.OutdoorC, b.OutdoorC) })
}
