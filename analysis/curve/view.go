package curve

import "math"

// view is the samples with the outdoor temperatures of the hours, by damping.
type view struct {
	samples  []sample
	outdoorC [][]float64
	all      *seen // every sample, without outdoor temperatures
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

func newView(samples []sample, outdoorC [][]float64) *view {
	n := len(samples)
	v := &view{samples: samples, outdoorC: outdoorC, kept: map[how]*seen{}}
	v.all = &seen{used: samples, flowC: make([]float64, n), weight: make([]float64, n), shortK: make([]float64, n)}
	for i, one := range samples {
		v.all.flowC[i], v.all.weight[i], v.all.shortK[i] = one.flowC, one.weight, one.roomShortK
	}
	return v
}

// seen does not look twice: all shapes ask for the same.
func (v *view) seen(damping int, rooms bool) *seen {
	key := how{damping, rooms}
	if s := v.kept[key]; s != nil {
		return s
	}
	usable := func(one *sample) bool {
		return !math.IsNaN(v.outdoorC[damping][one.hour]) && !(rooms && math.IsNaN(one.roomShortK))
	}
	first := 0
	for first < len(v.samples) && !usable(&v.samples[first]) {
		first++ // what came before the damping had forgotten where it began
	}
	s := v.all.from(first)
	for i := range s.used {
		if !usable(&s.used[i]) {
			s = s.only(usable)
			break
		}
	}
	s.outdoorC = make([]float64, len(s.used))
	for i := range s.used {
		s.outdoorC[i] = v.outdoorC[damping][s.used[i].hour]
	}
	v.kept[key] = s
	return s
}

// from is what is left after the first; it shares the rest.
func (s *seen) from(first int) *seen {
	return &seen{used: s.used[first:], flowC: s.flowC[first:], weight: s.weight[first:], shortK: s.shortK[first:]}
}

// only is a copy with some of the samples.
func (s *seen) only(usable func(*sample) bool) *seen {
	n := len(s.used)
	column := func() []float64 { return make([]float64, 0, n) }
	c := &seen{used: make([]sample, 0, n), flowC: column(), weight: column(), shortK: column()}
	for i := range s.used {
		if usable(&s.used[i]) {
			c.used = append(c.used, s.used[i])
			c.flowC, c.weight, c.shortK = append(c.flowC, s.flowC[i]), append(c.weight, s.weight[i]), append(c.shortK, s.shortK[i])
		}
	}
	return c
}
