package heatloss

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// sunAboveWPerM2 is the mean over a day of the sun on the horizontal above the
// air, at a latitude and day of the year: what the season alone makes of the sun,
// clouds left out (Duffie and Beckman, Solar Engineering of Thermal Processes,
// 1.10; declination per Cooper 1969).
func sunAboveWPerM2(latitudeDeg float64, at time.Time) float64 {
	const sunWPerM2, rad = 1367, math.Pi / 180
	day := float64(at.YearDay())
	declination := 23.45 * rad * math.Sin(2*math.Pi*(284+day)/365)
	latitude := latitudeDeg * rad
	sunset := math.Acos(min(max(-math.Tan(latitude)*math.Tan(declination), -1), 1))
	nearer := 1 + 0.033*math.Cos(2*math.Pi*day/365)
	return sunWPerM2 / math.Pi * nearer *
		(math.Cos(latitude)*math.Cos(declination)*math.Sin(sunset) + sunset*math.Sin(latitude)*math.Sin(declination))
}

// anyLatitudeDeg serves everywhere: by the date the sun rises and falls much alike
// at 35 and at 60°, and the fit scales it, upside down in the south. In the
// simulated houses the right latitude made no difference.
const anyLatitudeDeg = 50

// sunOf picks which sun the days are fitted with: the measured one, if nearly
// all of them know it, else what their dates make of it.
func sunOf(points []Point) (Term, func(*Point) *float64) {
	measured, byDate := func(p *Point) *float64 { return p.sunWPerM2 }, func(p *Point) *float64 { return &p.sunAboveWPerM2 }
	known, all := 0, 0
	for i := range points {
		if points[i].Left == "" {
			all++
			if measured(&points[i]) != nil {
				known++
			}
		}
	}
	if float64(known) >= nearlyAll*float64(all) {
		return Sun, measured
	}
	return SunByDate, byDate
}

// coldSunWPerM2 is the mean sun on the coldest quarter of the days in the fit,
// which is what the house gets when it matters.
func coldSunWPerM2(points []Point, sun func(*Point) *float64) float64 {
	var known []*Point
	for i := range points {
		if p := &points[i]; p.Left == "" && sun(p) != nil {
			known = append(known, p)
		}
	}
	slices.SortStableFunc(known, func(a, b *Point) int { return cmp.Compare(*a.AsIfC, *b.AsIfC) })
	known = known[:(len(known)+3)/4]
	mean := 0.0
	for _, p := range known {
		mean += *sun(p) / float64(len(known))
	}
	return mean
}
