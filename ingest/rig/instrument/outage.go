package instrument

import (
	"math/rand/v2"
	"time"
)

// Outage is when nothing gets through: lengths and pauses are drawn from
// exponential distributions.
type Outage struct {
	meanUpMS, meanDownMS float64
	fromMS, untilMS      int64
}

// NewOutage has outages of a mean length that take the share of all time,
// from startMS on. A share of 0 never has one.
func NewOutage(share float64, mean time.Duration, startMS int64, random *rand.Rand) Outage {
	o := Outage{meanDownMS: float64(mean.Milliseconds())}
	if share > 0 && share < 1 {
		o.meanUpMS = o.meanDownMS * (1 - share) / share
		o.plan(startMS, random)
	}
	return o
}

func (o *Outage) plan(afterMS int64, random *rand.Rand) {
	o.fromMS = afterMS + int64(o.meanUpMS*random.ExpFloat64())
	o.untilMS = o.fromMS + int64(o.meanDownMS*random.ExpFloat64())
}

// Down says whether nothing gets through at the time. Times must not go back.
func (o *Outage) Down(atMS int64, random *rand.Rand) bool {
	if o.meanUpMS == 0 {
		return false
	}
	for atMS >= o.untilMS {
		o.plan(o.untilMS, random)
	}
	return atMS >= o.fromMS
}
