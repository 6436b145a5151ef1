package heatloss

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/siteday"
)

// directShare of the loss goes past the mass: windows and air change, about
// half of a house's loss (common practice, no source). Where the mass touches the
// room well it hardly matters.
const directShare = 0.5

// strayH is how long an unforeseen gain lasts, such as visitors or a gale.
const strayH = 12

// What is usual of gains beside usualGainK, all by the loss: the daily rhythm of
// cooking, people and the sun; the sun of 100 W/m² through the windows of a
// house, some 0.3 to 1.5 m² of clear opening for every 100 W/K.
const (
	rhythmSpreadK   = 1.5
	sunScaleWPerM2  = 100
	usualSunK       = 0.8
	usualSunSpreadK = 0.6
)

// structureRatio is the 95 % limit of what the picture of a house as two
// capacities leaves out. One delay more or less in it, the emitters', moved the
// loss from the same week by 1 % in half of the simulated houses and by 6 % in
// one of ten; the delay is in, others are not.
const structureRatio = 0.04

// prior is what is known of a parameter's logarithm beforehand.
type prior struct{ middle, spread float64 }

// priors of a house, each a middle and a factor up or down for about two thirds
// of houses. Time constants of houses are some 20 to 100 h in all (EN ISO 13790's
// classes of mass by usual losses).
var priors = [...]prior{
	{math.Log(4), math.Log(2.2)},    // roomH: air, furniture, plaster and the emitters
	{math.Log(40), math.Log(2)},     // massH
	{math.Log(5), math.Log(2.2)},    // contactShare
	{math.Log(0.03), math.Log(2.7)}, // roomNoiseK
	{math.Log(0.7), math.Log(2)},    // strayK
	{math.Log(0.03), math.Log(2)},   // sensorK
	{math.Log(1), math.Log(2.5)},    // emitterH: radiators under an hour, screed some hours
}

// GreyBox is what two heat capacities say of the hours.
type GreyBox struct {
	LossWPerK float64
	GainK     float64 // mean gain by loss, the sun's included: the base lies so far below the room
	RoomH     float64 // capacity of the room by the loss
	MassH     float64 // and of the mass
	Hours     int
	Rho       float64 // of the misses of neighbouring hours; small when the model fits

	inverse    float64 // scaleWPerK by the loss
	scaleWPerK float64
	cov        [2][2]float64 // of inverse and GainK
	// How loss and gain move with each K that flow minus return reads high.
	pullWPerK, pullGainK float64
}

// hoursIn makes the filter's hours of the days of points that are in the fit,
// and says whether the sun is known in all of them. Hours lie in the zone whose
// day the gains follow.
func hoursIn(days []siteday.Day, points []Point, o *Options) (hours []hourly, sun bool) {
	sun = true
	var last time.Time
	for i := range days {
		if points[i].Left != "" {
			continue
		}
		for _, h := range days[i].Sums.Hours {
			outdoorC, ok := h.Outdoor.Of()
			roomC, ok2 := h.Room.Of()
			sunWPerM2, sunKnown := h.Irradiance.Of()
			if !ok || !ok2 || h.S < time.Hour.Seconds() || h.CoveredS < o.Rules.Coverage*h.S {
				continue
			}
			sun = sun && sunKnown
			hours = append(hours, hourly{
				outdoorC: outdoorC, roomC: roomC, heatW: o.hourJ(&h) / h.CoveredS, sunWPerM2: sunWPerM2,
				perPairWPerK: points[i].perPairWPerK,
				rhythm:       rhythmAt(h.From.Sub(days[i].From).Hours() + 1), starts: h.From.Sub(last) != time.Hour,
			})
			last = h.From
		}
	}
	return hours, sun && len(hours) > 0
}

// hourJ is the heat to the rooms in an hour.
func (o *Options) hourJ(h *siteday.Hour) float64 {
	heatJ := h.SpaceJ + h.CirculatedJ
	if o.BackupUnseen && h.HotWaterS == 0 {
		heatJ += h.BackupJ
	}
	return heatJ
}

// problem is a fit to be made.
type problem struct {
	hours      []hourly
	scaleWPerK float64
	sun        bool
}

// greyBox fits the hours; false when there is no heat in them.
func greyBox(hours []hourly, sun bool) (*GreyBox, bool) {
	var heatW, differenceK float64
	for _, h := range hours {
		heatW += h.heatW / float64(len(hours))
		differenceK += (h.roomC - h.outdoorC) / float64(len(hours))
	}
	if differenceK < 2*usualGainK || heatW <= 0 {
		return nil, false
	}
	p := &problem{hours, heatW / (differenceK - usualGainK), sun}
	theta, ok := p.best()
	if !ok {
		return nil, false
	}
	return p.describe(theta)
}

// filter starts with what is known of any house. The loss is nearly free.
func (p *problem) filter(theta []float64) *kalman {
	k := &kalman{scaleWPerK: p.scaleWPerK, n: stateSun, house: house{
		roomH: math.Exp(theta[0]), massH: math.Exp(theta[1]), contactShare: 1 - directShare + math.Exp(theta[2]),
		roomNoiseK: math.Exp(theta[3]), strayK: math.Exp(theta[4]), sensorK: math.Exp(theta[5]),
		emitterH: math.Exp(theta[6]),
	}}
	know := func(state int, value, spread float64) { k.x[state], k.p[state][state] = value, spread*spread }
	know(stateInverse, 1, 1)
	know(stateGain, usualGainK, usualGainSpreadK)
	for i := stateRhythm; i < stateSun; i++ {
		know(i, 0, rhythmSpreadK)
	}
	if p.sun {
		k.n = states
		know(stateSun, usualSunK, usualSunSpreadK)
	}
	return k
}

func (p *problem) pass(theta []float64) *kalman {
	k := p.filter(theta)
	k.run(p.hours)
	return k
}

// target is half of -2 log posterior.
func (p *problem) target(theta []float64) float64 {
	sum := p.pass(theta).deviance / 2
	for i, known := range priors {
		z := (theta[i] - known.middle) / known.spread
		sum += z * z / 2
	}
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return sum
}

func (p *problem) best() ([]float64, bool) {
	start := make([]float64, len(priors))
	for i, known := range priors {
		start[i] = known.middle
	}
	settings := &optimize.Settings{FuncEvaluations: 3000, Converger: &optimize.FunctionConverge{Absolute: 1e-4, Iterations: 50}}
	r, err := optimize.Minimize(optimize.Problem{Func: p.target}, start, settings, &optimize.NelderMead{SimplexSize: 0.4})
	if err != nil || r.Status == optimize.FunctionEvaluationLimit {
		return nil, false
	}
	return r.X, true
}

// describe adds to what the filter doubts what the house's own parameters, each
// taken at its best, leave open (Laplace's approximation).
func (p *problem) describe(theta []float64) (*GreyBox, bool) {
	k := p.filter(theta)
	k.innovation = make([]float64, 0, len(p.hours))
	k.run(p.hours)
	g := &GreyBox{
		LossWPerK: p.scaleWPerK / k.x[stateInverse], RoomH: k.house.roomH, MassH: k.house.massH,
		Hours: len(p.hours), inverse: k.x[stateInverse], scaleWPerK: p.scaleWPerK,
	}
	g.Rho = stat.Correlation(k.innovation[1:], k.innovation[:len(k.innovation)-1], nil)
	g.GainK = p.gainK(k)
	if g.inverse <= 0 {
		return nil, false
	}
	g.cov = p.filterCov(k)
	g.pullWPerK, g.pullGainK = p.perPair(g, theta)
	return g, p.addLaplace(g, theta)
}

// perPair repeats the filter with flow minus return a little higher.
func (p *problem) perPair(g *GreyBox, theta []float64) (loss, gain float64) {
	const littleK = 0.05
	misread := *p
	misread.hours = slices.Clone(p.hours)
	for i := range misread.hours {
		misread.hours[i].heatW += littleK * misread.hours[i].perPairWPerK
	}
	k := misread.pass(theta)
	return (p.scaleWPerK/k.x[stateInverse] - g.LossWPerK) / littleK, (p.gainK(k) - g.GainK) / littleK
}

// gainK is the mean gain with the mean sun.
func (p *problem) gainK(k *kalman) float64 { return k.x[stateGain] + p.sunShare()*k.x[stateSun] }

// sunShare is the mean sun in the filter's unit, 0 where it is not known.
func (p *problem) sunShare() float64 {
	if !p.sun {
		return 0
	}
	sum := 0.0
	for _, h := range p.hours {
		sum += h.sunWPerM2 / sunScaleWPerM2
	}
	return sum / float64(len(p.hours))
}

// filterCov is the filter's own doubt about inverse and gain.
func (p *problem) filterCov(k *kalman) [2][2]float64 {
	share := p.sunShare()
	gain := k.p[stateGain][stateGain] + 2*share*k.p[stateGain][stateSun] + share*share*k.p[stateSun][stateSun]
	both := k.p[stateInverse][stateGain] + share*k.p[stateInverse][stateSun]
	return [2][2]float64{{k.p[stateInverse][stateInverse], both}, {both, gain}}
}

func (p *problem) addLaplace(g *GreyBox, theta []float64) bool {
	const step = 0.02 // a fiftieth up or down; the target is smooth over that
	var hessian mat.SymDense
	fd.Hessian(&hessian, p.target, theta, &fd.Settings{Step: step})
	jacobian := mat.NewDense(2, len(theta), nil)
	fd.Jacobian(jacobian, func(to, at []float64) {
		k := p.pass(at)
		to[0], to[1] = k.x[stateInverse], p.gainK(k)
	}, theta, &fd.JacobianSettings{Formula: fd.Central, Step: step})
	var chol mat.Cholesky
	if !chol.Factorize(&hessian) {
		return false
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return false
	}
	for i := range 2 {
		for j := range 2 {
			g.cov[i][j] += mat.Inner(jacobian.RowView(i), &inverse, jacobian.RowView(j))
		}
	}
	return true
}

// widening makes allowance for misses that follow each other.
func (g *GreyBox) widening() float64 {
	rho := min(max(g.Rho, 0), 0.9)
	return (1 + rho) / (1 - rho)
}

// sureLoss, sureGain and sureHeat are how sure the loss is, the mean gain, and
// the net heat at a difference of room and outdoor temperature, loss ·
// (difference - gain).
func (g *GreyBox) sureLoss() certainty { return g.sure(1, 0) }

func (g *GreyBox) sureGain() certainty { return g.sure(0, 1) }

func (g *GreyBox) sureHeat(differenceK float64) certainty {
	return g.sure(differenceK-g.GainK, -g.LossWPerK)
}

// sure is of a figure that moves so much with loss and gain.
func (g *GreyBox) sure(byWPerK, byGainK float64) certainty {
	byInverse := -byWPerK * g.LossWPerK / g.inverse
	variance := byInverse*byInverse*g.cov[0][0] + 2*byInverse*byGainK*g.cov[0][1] + byGainK*byGainK*g.cov[1][1]
	return certainty{
		variance: g.widening() * variance, factor95: normal95, share: 1,
		perPair: byWPerK*g.pullWPerK + byGainK*g.pullGainK,
	}
}
