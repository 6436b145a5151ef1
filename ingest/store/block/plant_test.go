package block_test

import (
	"math"
	"math/rand/v2"
)

// dayMS is 2026-01-15T00:00:00Z; every made-up day starts there.
const dayMS = 1768435200000

// everyTenSeconds returns the times of one day of 10 s samples.
func everyTenSeconds() []int64 {
	ms := make([]int64, 8640)
	for i := range ms {
		ms[i] = dayMS + int64(i)*10_000
	}
	return ms
}

// madeUp is a day of one channel and what it may cost in bytes a reading.
type madeUp struct {
	name   string
	limit  float64
	values []float64
}

func makeUp(name string, limit float64, f func(i int) float64) madeUp {
	d := madeUp{name: name, limit: limit, values: make([]float64, 8640)}
	for i := range d.values {
		d.values[i] = f(i)
	}
	return d
}

// designLimit is the aim of the design, in bytes a reading.
const designLimit = 1.3

// roundTo rounds as a controller prints: the decimal nearest to v.
func roundTo(v float64, perUnit float64) float64 { return math.Round(v*perUnit) / perUnit }

// plant makes a day of every kind of channel: an on/off plant with 40 minute
// cycles, sensor noise of 0.03 K, meters of usual resolution.
func plant() []madeUp {
	rng := rand.New(rand.NewPCG(1, 2))
	running := func(i int) float64 {
		if i%240 < 170 {
			return 1
		}
		return 0
	}
	flow, energy, heat := 30.0, 4711.0, 15233.0
	warm := func(i int) float64 {
		flow += (30 + 8*running(i) - flow) * 0.02
		return flow
	}
	power := func(i int) float64 { return running(i)*(1800+200*math.Sin(float64(i)/900)+15*rng.NormFloat64()) + 8 }
	return []madeUp{
		makeUp("flow temperature 0.01 K", designLimit, func(i int) float64 { return roundTo(warm(i)+0.03*rng.NormFloat64(), 100) }),
		makeUp("return temperature 0.1 K", designLimit, func(i int) float64 { return roundTo(warm(i)-4*running(i)+0.03*rng.NormFloat64(), 10) }),
		makeUp("outdoor temperature 0.1 K", designLimit, func(i int) float64 {
			return roundTo(2+4*math.Sin(float64(i)/1375)+0.03*rng.NormFloat64(), 10)
		}),
		makeUp("room temperature 0.01 K", designLimit, func(i int) float64 {
			return roundTo(20.5+0.4*math.Sin(float64(i)/1375)+0.03*rng.NormFloat64(), 100)
		}),
		makeUp("power 1 W", designLimit, func(i int) float64 { return math.Round(power(i)) }),
		makeUp("flow 1 l/h", designLimit, func(i int) float64 { return math.Round(running(i) * (1150 + 8*rng.NormFloat64())) }),
		makeUp("electricity register 0.001 kWh", designLimit, func(i int) float64 {
			energy += power(i) / 360_000
			return roundTo(energy, 1000)
		}),
		makeUp("heat register 0.1 kWh", designLimit, func(i int) float64 {
			heat += 3.6 * power(i) / 360_000
			return roundTo(heat, 10)
		}),
		makeUp("mode", designLimit, running),
		makeUp("flow target", designLimit, func(i int) float64 { return roundTo(38-3*math.Sin(float64(i/60)/23), 2) }),
		makeUp("constant", designLimit, func(int) float64 { return 21.5 }),
	}
}

// awkward makes days no decimal fits.
func awkward() []madeUp {
	rng := rand.New(rand.NewPCG(3, 4))
	temp := func(i int) float64 { return 40 + 5*math.Sin(float64(i)/1000) + 0.03*rng.NormFloat64() }
	energy := 1e9
	return []madeUp{
		makeUp("kW with three decimals as W", designLimit, func(i int) float64 { return roundTo(1.8+0.015*rng.NormFloat64(), 1000) * 1000 }),
		makeUp("l/min with one decimal as l/h", designLimit, func(i int) float64 { return roundTo(19+0.2*rng.NormFloat64(), 10) * 60 }),
		makeUp("0.1 degree Fahrenheit as Celsius", designLimit, func(i int) float64 { return roundTo(temp(i)*1.8+32, 10)*(5.0/9) + -160.0/9 }),
		makeUp("0.1 K in single precision", designLimit, func(i int) float64 { return float64(float32(roundTo(temp(i), 10))) }),
		makeUp("unrounded single precision", 3, func(i int) float64 { return float64(float32(temp(i))) }),
		makeUp("unrounded", 6.6, temp),
		makeUp("J as kWh", 4.5, func(i int) float64 {
			energy += math.Round(20_000 + 100*rng.NormFloat64())
			return energy * (1 / 3.6e6)
		}),
		makeUp("printed around zero", designLimit, func(i int) float64 {
			v := math.Copysign(math.Round(math.Abs(rng.NormFloat64())), rng.NormFloat64())
			return v / 10 // has negative zeros
		}),
	}
}
