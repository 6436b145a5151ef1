package curve

import "math"

// view is the samples with the outdoor temperatures of the hours, by damping.
type view struct {
	samples  []sample
	outdoorC [][]float64
	kept     map[how]*seen
}

// how samples are looked at: at which damping, and only with the rooms known.
type how struct {
	damping int
	rooms   bool
}

// seen are the samples that a fit can use.
type seen struct {
	used                            []sample
	outdoorC, flowC, weight, shortK []float64 // of each
}

// seen does not look twice: all shapes ask for the same.
func (v *view) seen(damping int, rooms bool) *seen {
	key := how{damping, rooms}
	if s := v.kept[key]; s != nil {
		return s
	}
	n := len(v.samples)
	column := func() []float64 { return make([]float64, 0, n) }
	s := &seen{make([]sample, 0, n), column(), column(), column(), column()}
	for _, one := range v.samples {
		if at := v.outdoorC[damping][one.hour]; !math.IsNaN(at) && !(rooms && math.IsNaN(one.roomShortK)) {
			s.used, s.outdoorC = append(s.used, one), append(s.outdoorC, at)
			s.flowC, s.weight, s.shortK = append(s.flowC, one.flowC), append(s.weight, one.weight), append(s.shortK, one.roomShortK)
		}
	}
	if v.kept == nil {
		v.kept = map[how]*seen{}
	}
	v.kept[key] = s
	return s
}
