package metrology

import "math"

// Split returns what the doubt about the heat is made of, 95 % limits: what errs
// in proportion to the heat, in percent, and what is a constant error of flow
// minus return, in K. A constant error adds heat while water moves, however much
// of it is delivered; it says little about how heat grows with cold. False when
// there is no heat, or when it is not known how much water carried it.
func (p *Period) Split() (scalePct, differenceK float64, ok bool) {
	s, m := &p.Sums, p.HeatMeter
	const most = 0.9
	if !(s.NetJ > 0) || s.GrossJ-s.DifferenceUnknownJ < most*s.GrossJ || s.CapacityJPerK <= 0 {
		return 0, 0, false
	}
	l, perJ := m.limits(), 100/s.NetJ
	pairPct, pairK := expanded(l.pairPct*s.GrossJ/s.NetJ), expanded(l.pairK)
	if p.PairErrorK > 0 {
		pairPct, pairK = 0, p.PairErrorK
	}
	scalePct = Limits{
		expanded(perJ * m.flowLimitJ(s)), pairPct, expanded(l.calculatorPct * s.GrossJ / s.NetJ),
		100 * p.FluidRatio, perJ * coverage * math.Sqrt(p.HeatVarianceJSq),
	}.RootSumSquarePct()
	return scalePct, Limits{pairK, expanded(l.calculatorK), p.OffsetK}.RootSumSquarePct(), true
}
