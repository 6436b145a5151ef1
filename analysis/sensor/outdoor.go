package sensor

import (
	"fmt"
	"math"

	"coldweek/ingest"
)

const (
	// stillOutdoorK over stillOutdoorBlocks: in two years of hourly weather
	// (a German test reference year, TMY3 of Chicago) no 18 hours stayed within
	// 0.5 K.
	stillOutdoorK, stillOutdoorBlocks = 0.25, 18 * blocksPerH
	// Jumps of the ten minutes' means, so many and in both directions.
	jumpOutdoorK, jumpRoomK  = 2.5, 2.0
	leastJumps, leastEachWay = 6, 2
)

// outdoor looks at the outdoor sensor, which nothing else confirms.
func (l *look) outdoor() []Suspicion {
	c := l.column(ingest.OutdoorTemp)
	var found []Suspicion
	for _, ch := range l.t.Channels(ingest.RoomTemp) {
		room, _ := l.t.Column(ch)
		if s, ok := l.jumping(ch, l.means(room, blockMS), jumpRoomK); ok {
			found = append(found, s)
		}
	}
	if c.Len() == 0 {
		return found
	}
	meansC := l.means(c, blockMS)
	if s, ok := l.stillOutdoor(c.Channel, meansC); ok {
		return append(found, s)
	}
	if s, ok := l.jumping(c.Channel, meansC, jumpOutdoorK); ok {
		return append(found, s)
	}
	if s, ok := l.sunStruck(c); ok {
		found = append(found, s)
	}
	return found
}

func (l *look) stillOutdoor(ch ingest.Channel, meansC []float64) (Suspicion, bool) {
	var all span
	first, best := 0, stretch{}
	value := 0.0
	for k, v := range meansC {
		joined := all
		joined.add(v, 1)
		if joined.reach() > stillOutdoorK {
			// begin again as far back as it stood still
			first, joined = k, span{}
			joined.add(v, 1)
			for first > 0 && (math.IsNaN(meansC[first-1]) || max(joined.high, meansC[first-1])-min(joined.low, meansC[first-1]) <= stillOutdoorK) {
				first--
				joined.add(meansC[first], 1)
			}
		}
		all = joined
		if k+1-first > best.last-best.first && all.s > stillOutdoorBlocks/4 {
			best, value = stretch{first, k + 1}, all.mean()
		}
	}
	if best.last-best.first < stillOutdoorBlocks {
		return Suspicion{}, false
	}
	return l.stuckFor(ch, l.blockStart(best.first), l.blockStart(best.last), value, "through day and night"), true
}

// jumping counts changes from one ten minutes to the next that air does not
// make, certainly not to and fro.
func (l *look) jumping(ch ingest.Channel, meansC []float64, jumpK float64) (Suspicion, bool) {
	up, down, first, last := 0, 0, -1, 0
	var sizes [256]float64
	n := 0
	for k := 1; k < len(meansC); k++ {
		stepK := meansC[k] - meansC[k-1]
		if !(math.Abs(stepK) > jumpK) {
			continue
		}
		if stepK > 0 {
			up++
		} else {
			down++
		}
		if first < 0 {
			first = k
		}
		last = k + 1
		if n < len(sizes) {
			sizes[n] = math.Abs(stepK)
			n++
		}
	}
	if up+down < leastJumps || min(up, down) < leastEachWay {
		return Suspicion{}, false
	}
	low, middle, high := quartiles(sizes[:n])
	return Suspicion{
		Kind: Jumping, Channels: []ingest.Channel{ch}, Since: utc(l.blockStart(first)), Until: utc(l.blockStart(last)),
		Size: middle, Low: low, High: high, Unit: "K",
		Detail: fmt.Sprintf("%s jumped %d times by %.1f to %.1f K within ten minutes, to and fro: a loose wire, moisture in the sensor or two publishers on one channel", ch, up+down, low, high),
	}, true
}

const (
	// A spike stands alone: it leaves both neighbours, which agree, by spikeK.
	spikeK, neighboursK, leastSpikes = 15.0, 4.0, 5
	// neighbours lie no further apart.
	spikeMS = 5 * 60 * 1000
)

// spikes finds thermometers with single values far from both neighbours.
func (l *look) spikes() []Suspicion {
	var found []Suspicion
	for _, q := range []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.OutdoorTemp, ingest.RoomTemp, ingest.CylinderTemp, ingest.FloorTemp} {
		for _, ch := range l.t.Channels(q) {
			c, _ := l.t.Column(ch)
			if s, ok := spiky(c); ok {
				found = append(found, s)
			}
		}
	}
	return found
}

func spiky(c ingest.Column) (Suspicion, bool) {
	n, first, last := 0, -1, 0
	var all span
	for i := 1; i+1 < c.Len(); i++ {
		before, v, after := c.Value[i-1], c.Value[i], c.Value[i+1]
		if math.Abs(v-before) > spikeK && math.Abs(after-before) < neighboursK && math.Abs(v-after) > spikeK && c.UnixMS[i+1]-c.UnixMS[i-1] < spikeMS {
			if first < 0 {
				first = i
			}
			last = i
			n++
			all.add(math.Abs(v-before), 1)
		}
	}
	if n < leastSpikes {
		return Suspicion{}, false
	}
	return Suspicion{
		Kind: Jumping, Channels: []ingest.Channel{c.Channel}, Since: utc(c.UnixMS[first]), Until: utc(c.UnixMS[last]),
		Size: all.mean(), Low: all.low, High: all.high, Unit: "K",
		Detail: fmt.Sprintf("%s has %d single readings %.0f to %.0f K off their neighbours: a loose wire or a disturbed line", c.Channel, n, all.low, all.high),
	}, true
}
