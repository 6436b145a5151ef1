package heatloss

import "math"

// hourly is what the grey box sees of one hour, all of it means over the hour.
type hourly struct {
	outdoorC, roomC float64
	heatW           float64
	perPairWPerK    float64 // what a K that flow minus return reads high adds to heatW
	sunWPerM2       float64
	starts          bool       // nothing usable lies before it
	rhythm          [4]float64 // of the half hour between it and the next: cosine and sine of a day and of half a day
}

// rhythmAt is the rhythm at an hour of the local day.
func rhythmAt(hourH float64) [4]float64 {
	day := 2 * math.Pi * hourH / 24
	return [4]float64{math.Cos(day), math.Sin(day), math.Cos(2 * day), math.Sin(2 * day)}
}

// The states of the filter: temperatures of room and mass, the gain nobody
// foresees, and what does not change: loss by which heat becomes a temperature
// difference, mean gain, its daily rhythm, sun. Gains are in K: divided by the
// loss.
const (
	stateRoom = iota
	stateMass
	stateStray
	stateInverse
	stateGain
	stateRhythm // cosine and sine, of a day and of half a day
	stateSun    = stateRhythm + 4
	states      = stateSun + 1
)

// house is what the filter takes as given in one pass.
type house struct {
	roomH, massH float64 // heat capacity by loss
	contactShare float64 // heat flow from room to mass by loss
	roomNoiseK   float64 // what the model does not explain in an hour
	strayK       float64 // standard deviation of the stray gain, by loss
	sensorK      float64 // noise of the room temperature
	emitterH     float64 // by which heat reaches the room later
}

// step is the house's response to an hour of constant conditions: what room and
// mass, in this order, take on of each temperature before, of the outdoor
// temperature, and of heat by the loss.
type step struct {
	roomShare, massShare    [2]float64
	outdoorShare, heatShare [2]float64
}

// hourStep solves the two capacities exactly for an hour.
func (h *house) hourStep() step {
	throughShare := 1 / (1/(1-directShare) - 1/h.contactShare)
	a := -(h.contactShare + directShare) / h.roomH
	b := h.contactShare / h.roomH
	c := h.contactShare / h.massH
	d := -(h.contactShare + throughShare) / h.massH
	// The eigenvalues are real and negative, as of every heat network.
	mean, root := (a+d)/2, math.Sqrt((a-d)*(a-d)/4+b*c)
	fast, slow := math.Exp(mean-root), math.Exp(mean+root)
	// exp(A) = p I + q A, by its eigenvalues.
	q := (slow - fast) / (2 * root)
	p := slow - q*(mean+root)
	e := [2][2]float64{{p + q*a, q * b}, {q * c, p + q*d}}
	// What an input holds at for an hour: A^-1 (exp(A) - I) times its column.
	det := a*d - b*c
	hold := func(x, y float64) [2]float64 {
		u := (e[0][0]-1)*x + e[0][1]*y
		v := e[1][0]*x + (e[1][1]-1)*y
		return [2]float64{(d*u - b*v) / det, (a*v - c*u) / det}
	}
	return step{
		roomShare: [2]float64{e[0][0], e[0][1]}, massShare: [2]float64{e[1][0], e[1][1]},
		outdoorShare: hold(directShare/h.roomH, throughShare/h.massH),
		heatShare:    hold(1/h.roomH, 0),
	}
}

// kalman is a filter's estimate.
type kalman struct {
	x          [states]float64
	p          [states][states]float64
	step       step
	house      house
	scaleWPerK float64
	n          int // states in use
	deviance   float64
	count      int
	innovation []float64 // normed, of each hour; nil: not kept
	emittedW   float64   // what the emitters give in the hour at hand
	follows    float64   // share of a change of heat that they give within an hour
}

// strayKeeps is how much of a stray gain is left after an hour.
var strayKeeps = math.Exp(-1 / strayH)

// begin sets the dynamic states to know nothing before the hour at hand.
func (k *kalman) begin(h *hourly) {
	for _, i := range []int{stateRoom, stateMass, stateStray} {
		for j := range k.n {
			k.p[i][j], k.p[j][i] = 0, 0
		}
	}
	k.x[stateRoom], k.x[stateMass], k.x[stateStray] = h.roomC, h.roomC, 0
	k.emittedW = h.heatW
	k.p[stateRoom][stateRoom], k.p[stateMass][stateMass] = 4, 4
	k.p[stateStray][stateStray] = k.house.strayK * k.house.strayK
}

// predict moves from the middle of one hour to that of the next.
func (k *kalman) predict(from, to *hourly) {
	beforeW := k.emittedW
	k.emittedW += (to.heatW - k.emittedW) * k.follows
	outdoorC := (from.outdoorC + to.outdoorC) / 2
	// What the states that stand for heat heat the room with.
	w := [states]float64{stateStray: 1, stateGain: 1}
	w[stateInverse] = (beforeW + k.emittedW) / 2 / k.scaleWPerK
	copy(w[stateRhythm:], from.rhythm[:])
	w[stateSun] = (from.sunWPerM2 + to.sunWPerM2) / 2 / sunScaleWPerM2
	var rows [2][states]float64
	for r, own := range [2][2]float64{k.step.roomShare, k.step.massShare} {
		for j := range k.n {
			rows[r][j] = k.step.heatShare[r] * w[j]
		}
		rows[r][stateRoom], rows[r][stateMass] = own[0], own[1]
	}
	var x [2]float64
	for r := range rows {
		x[r] = k.step.outdoorShare[r] * outdoorC
		for j := range k.n {
			x[r] += rows[r][j] * k.x[j]
		}
	}
	k.x[stateRoom], k.x[stateMass] = x[0], x[1]
	k.x[stateStray] *= strayKeeps
	k.spread(&rows)
}

// spread is P = F P F' + Q, where F differs from one only in the first three rows.
func (k *kalman) spread(rows *[2][states]float64) {
	var m [2][states]float64 // of F P; P is symmetric, so its rows are its columns
	for j := range k.n {
		column := &k.p[j]
		for i := range k.n {
			m[0][j] += rows[0][i] * column[i]
			m[1][j] += rows[1][i] * column[i]
		}
	}
	var corner [2][2]float64
	for r := range rows {
		for s := range rows {
			for i := range k.n {
				corner[r][s] += m[r][i] * rows[s][i]
			}
		}
	}
	for j := stateStray; j < k.n; j++ {
		keep := 1.0
		if j == stateStray {
			keep = strayKeeps
		}
		for r := range rows {
			k.p[r][j] = m[r][j] * keep
			k.p[j][r] = k.p[r][j]
		}
		if j != stateStray {
			k.p[stateStray][j] *= strayKeeps
			k.p[j][stateStray] = k.p[stateStray][j]
		}
	}
	k.p[stateStray][stateStray] *= strayKeeps * strayKeeps
	k.p[0][0], k.p[1][1] = corner[0][0], corner[1][1]
	k.p[0][1], k.p[1][0] = corner[0][1], corner[0][1]
	h := &k.house
	k.p[stateRoom][stateRoom] += h.roomNoiseK * h.roomNoiseK
	k.p[stateStray][stateStray] += h.strayK * h.strayK * (1 - strayKeeps*strayKeeps)
}

// update takes in the measured room temperature.
func (k *kalman) update(roomC float64) {
	variance := k.p[stateRoom][stateRoom] + k.house.sensorK*k.house.sensorK
	miss := roomC - k.x[stateRoom]
	k.deviance += math.Log(variance) + miss*miss/variance
	k.count++
	if k.innovation != nil {
		k.innovation = append(k.innovation, miss/math.Sqrt(variance))
	}
	var gain [states]float64
	for i := range k.n {
		gain[i] = k.p[i][stateRoom] / variance
	}
	row := k.p[stateRoom]
	for i := range k.n {
		k.x[i] += gain[i] * miss
		for j := range k.n {
			k.p[i][j] -= gain[i] * row[j]
		}
	}
}

// run filters all hours; what it starts with is what is known of any house.
func (k *kalman) run(hours []hourly) {
	k.step, k.follows = k.house.hourStep(), 1-math.Exp(-1/k.house.emitterH)
	for i := range hours {
		if i == 0 || hours[i].starts {
			k.begin(&hours[i])
		} else {
			k.predict(&hours[i-1], &hours[i])
		}
		k.update(hours[i].roomC)
	}
}
