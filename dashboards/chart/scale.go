package chart

import (
	"math"
	"strconv"
	"strings"
)

// nbsp keeps a number and its unit on one line.
const nbsp = "\u00a0"

// scale turns values into heights: low is at bottom, high at top.
type scale struct{ low, high, top, bottom float64 }

func (s scale) y(value float64) float64 {
	return s.bottom - (value-s.low)/(s.high-s.low)*(s.bottom-s.top)
}

// RoundStep returns 1, 2 or 5 times a power of ten, at least rough, and the
// digits after the point that tell its multiples apart.
func RoundStep(rough float64) (step float64, digits int) {
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	step = 10 * power
	for _, m := range []float64{1, 2, 5} {
		if m*power >= rough*(1-1e-9) {
			step = m * power
			break
		}
	}
	return step, int(max(0, math.Ceil(-math.Log10(step)-1e-9)))
}

// ticks returns round values within the scale, at least apart pixels from one
// another, and the digits after the point that tell them apart.
func (s scale) ticks(apart float64) (values []float64, digits int) {
	count := max(1, math.Floor((s.bottom-s.top)/apart))
	step, digits := RoundStep((s.high - s.low) / count)
	for i := math.Ceil(s.low/step - 1e-9); i*step <= s.high+step*1e-9; i++ {
		values = append(values, i*step)
	}
	return values, digits
}

// number writes v with a true minus sign. What rounds to zero has no sign.
func number(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if positive, negative := strings.CutPrefix(s, "-"); negative {
		if strings.Trim(positive, "0.") == "" {
			return positive
		}
		return "\u2212" + positive
	}
	return s
}

// spread keeps labels from lying on one another: it returns places as near as
// may be to the wanted ones, in their order of height, at least apart from
// each other and within low and high. Labels that would overlap form a block
// whose middle is the middle of what they wanted.
func spread(wanted []float64, apart, low, high float64) []float64 {
	type block struct {
		sum   float64 // of wanted places, each less its offset in the block
		count int
	}
	top := func(b block) float64 {
		room := high - float64(b.count-1)*apart
		return max(low, min(room, b.sum/float64(b.count)))
	}
	var blocks []block
	for _, w := range wanted {
		b := block{w, 1}
		for len(blocks) > 0 {
			above := blocks[len(blocks)-1]
			if top(above)+float64(above.count)*apart <= top(b)+1e-9 {
				break
			}
			b = block{above.sum + b.sum - float64(b.count*above.count)*apart, above.count + b.count}
			blocks = blocks[:len(blocks)-1]
		}
		blocks = append(blocks, b)
	}
	places := make([]float64, 0, len(wanted))
	for _, b := range blocks {
		for i := range b.count {
			places = append(places, top(b)+float64(i)*apart)
		}
	}
	return places
}
