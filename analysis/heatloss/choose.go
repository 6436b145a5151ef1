package heatloss

import (
	"cmp"
	"math"
	"slices"

	"coldweek/analysis/robust"
)

// nearlyAll of the days must know a thing before it is counted for all.
const nearlyAll = 0.8

// samplesOf makes samples of the points that are in the fit. A term that not
// all of them know is not among the terms; yesterday is unknown after a gap, and
// those days go where it is taken in.
func samplesOf(points []Point, counted bool) []sample {
	sunTerm, sun := sunOf(points)
	coldWPerM2 := coldSunWPerM2(points, sun)
	var samples []sample
	for _, p := range points {
		if p.Left != "" {
			continue
		}
		s := sample{day: p.day, outdoorC: *p.AsIfC, heatW: p.HeatW, perPairWPerK: p.perPairWPerK, terms: map[Term]float64{}}
		if p.yesterdayC != nil {
			s.terms[Yesterday] = *p.OutdoorC - *p.yesterdayC
		}
		if sunWPerM2 := sun(&p); sunWPerM2 != nil {
			s.terms[sunTerm] = *sunWPerM2 - coldWPerM2
		}
		if counted && p.changeK != nil {
			s.terms[Storage] = *p.changeK
		}
		samples = append(samples, s)
	}
	return samples
}

// knowing keeps the samples that know the terms.
func knowing(samples []sample, terms []Term) []sample {
	var kept []sample
	for _, s := range samples {
		if !slices.ContainsFunc(terms, func(t Term) bool { _, ok := s.terms[t]; return !ok }) {
			kept = append(kept, s)
		}
	}
	return kept
}

// candidates are the terms that nearly all samples know.
func candidates(samples []sample) []Term {
	var terms []Term
	for _, t := range allTerms {
		if float64(len(knowing(samples, []Term{t}))) >= nearlyAll*float64(len(samples)) {
			terms = append(terms, t)
		}
	}
	return terms
}

// form fits one kind of signature.
type form func(samples []sample, terms []Term) (*Signature, bool)

// choose fits the form with each set of terms, compares them by Akaike's
// criterion on the same days, and fits the best on all days that know its terms.
// The others stay as rivals: which terms belong in is itself in doubt.
func choose(samples []sample, f form) (*Signature, float64, bool) {
	terms := candidates(samples)
	common := knowing(samples, terms)
	var rivals []rival
	best := rival{aicc: math.Inf(1)}
	for set := range 1 << len(terms) {
		var some []Term
		for i, t := range terms {
			if set>>i&1 == 1 {
				some = append(some, t)
			}
		}
		s, ok := f(common, some)
		if !ok {
			continue
		}
		r := rival{Signature: s, aicc: s.fit.aicc()}
		rivals = append(rivals, r)
		if r.aicc < best.aicc {
			best = r
		}
	}
	if best.Signature == nil {
		return nil, 0, false
	}
	s, ok := f(knowing(samples, best.Terms), best.Terms)
	if ok {
		s.rivals = weighed(rivals, best.aicc)
	}
	return s, best.aicc, ok
}

// rival is a signature with other terms.
type rival struct {
	*Signature
	aicc   float64
	weight float64 // of evidence
}

// weighed gives each its weight of evidence, exp(-difference of AICc / 2)
// (Burnham and Anderson, Model Selection and Multimodel Inference, 2002, 4.3).
func weighed(rivals []rival, bestAICc float64) []rival {
	for i := range rivals {
		rivals[i].weight = math.Exp((bestAICc - rivals[i].aicc) / 2)
	}
	return rivals
}

// rivalry is how far a figure moves with the terms: the mean square distance to
// what the rivals say, each by its weight of evidence.
func (s *Signature) rivalry(figure func(*Signature) float64) float64 {
	sum, weights, own := 0.0, 0.0, figure(s)
	for _, r := range s.rivals {
		distance := figure(r.Signature) - own
		sum, weights = sum+r.weight*distance*distance, weights+r.weight
	}
	return sum / max(weights, 1)
}

// signatureOf fits what the days can carry. Few days cannot choose: every house
// answers to yesterday, so that is taken in, and a base is not looked for.
func signatureOf(samples []sample, rules *Rules) (*Signature, bool) {
	if len(samples) < rules.SignatureDays {
		if few := knowing(samples, []Term{Yesterday}); len(few) >= rules.FewestDays {
			return line(few, []Term{Yesterday})
		}
		return line(samples, nil)
	}
	straight, straightAIC, ok := choose(samples, line)
	if !mayBend(samples, rules) {
		return straight, ok
	}
	bent, bentAIC, ok2 := choose(samples, func(s []sample, t []Term) (*Signature, bool) { return changePoint(s, t, rules.SideDays) })
	if ok2 && bentAIC < straightAIC && bent.reachesBase(samples) {
		return bent, true
	}
	return straight, ok
}

// little heat is this much of that on the coldest day. There is no more above the
// base, as hot water is not in it; a bend in the middle of winter is none.
const little = 0.3

// mayBend spares the search where even the warmest days take much heat.
func mayBend(samples []sample, rules *Rules) bool {
	byWarmth := slices.SortedFunc(slices.Values(samples), func(a, b sample) int { return cmp.Compare(b.outdoorC, a.outdoorC) })
	warmW := 0.0
	for _, s := range byWarmth[:min(rules.SideDays, len(byWarmth))] {
		warmW += s.heatW / float64(rules.SideDays)
	}
	coldest := byWarmth[len(byWarmth)-1]
	return warmW < 2*little*coldest.heatW
}

// reachesBase says whether there is little heat above the base.
func (s *Signature) reachesBase(samples []sample) bool {
	coldestC := math.Inf(1)
	for _, p := range samples {
		coldestC = min(coldestC, p.outdoorC)
	}
	return s.LossWPerK > 0 && s.ZeroW < little*s.heatW(coldestC)
}

// leaveOdd fits, leaves out days whose heat is far from what the rest says, and
// fits again until none is left.
func leaveOdd(points []Point, counted bool, rules *Rules) (*Signature, bool) {
	samples := samplesOf(points, counted)
	s, ok := signatureOf(samples, rules)
	again := ok && s.BaseC == nil && leaveOffLine(points, samples, rules)
	for range maxRounds {
		if again {
			samples = samplesOf(points, counted)
			s, ok = signatureOf(samples, rules)
		}
		if again = ok && leave(points, samples, s.miss, rules); !again {
			break
		}
	}
	return s, ok
}

// maxRounds bounds how often odd days are looked for.
const maxRounds = 5

// leaveOffLine looks for odd days by a line that they cannot tilt (Theil-Sen), and
// says whether there were any.
func leaveOffLine(points []Point, samples []sample, rules *Rules) bool {
	var outdoorC, heatW []float64
	for _, s := range samples {
		outdoorC, heatW = append(outdoorC, s.outdoorC), append(heatW, s.heatW)
	}
	t, ok := robust.TheilSen(outdoorC, heatW)
	return ok && leave(points, samples, func(s *sample) float64 { return s.heatW - t.At(s.outdoorC) }, rules)
}

// leave marks the points whose heat misses by more than rules allow, and says
// whether there were any. The spread is the median's, which odd days do not move.
func leave(points []Point, samples []sample, miss func(*sample) float64, rules *Rules) bool {
	misses, heats := make([]float64, len(samples)), make([]float64, len(samples))
	for i := range samples {
		misses[i], heats[i] = miss(&samples[i]), samples[i].heatW
	}
	spread, _ := robust.Deviation(misses)
	usual, _ := robust.Median(heats)
	limit := max(rules.OddDeviations*spread, rules.OddRatio*math.Abs(usual))
	any := false
	for i := range samples {
		at := slices.IndexFunc(points, func(p Point) bool { return p.day == samples[i].day })
		switch {
		case misses[i] > limit:
			points[at].Left, any = MoreHeat, true
		case misses[i] < -limit:
			points[at].Left, any = LessHeat, true
		}
	}
	return any
}
