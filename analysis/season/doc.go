// Package season looks beyond the days that were measured: what a plant would
// take in a whole heating season, how two spans of different weather compare,
// and what heating costs and emits.
//
// A season is the hours at each outdoor temperature, as EN 14825 counts them for
// its three climates, or the site's own hours. The same sum serves a data
// sheet's SCOP and a house with its measured heat loss and efficiency. What
// rests on temperatures that were never seen is marked, never passed over: a
// projection is labelled one, and beyond some kelvin it is refused.
//
// Money and carbon need the site's own price and factor; there are none built in.
//
// Sources: bins and conditions of Commission Delegated Regulation (EU) No
// 811/2013 Annex VII, which are EN 14825's; degree days of CIBSE TM41:2006.
package season

const (
	joulePerKWh    = 3.6e6
	wattPerKW      = 1000
	secondsPerHour = 3600
	hoursPerDay    = 24
)
