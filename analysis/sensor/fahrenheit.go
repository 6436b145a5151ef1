package sensor

import (
	"fmt"
	"math"
	"slices"

	"coldweek/ingest"
)

// What a thermometer of a heating plant shows in °C cannot reach these, and in
// °F lies above them (common practice, no source).
const (
	// hotReturnC on the mean of running hours: a heat pump's condenser ends
	// there, and 20 °C are 68 °F.
	hotReturnC = 66
	// farApartK is no difference of flow and return.
	farApartK = 25
	// hotCylinderC: hot water of 40 °C is 104 °F.
	hotCylinderC = 95
	// hotFloorC: floors end at 35 °C (EN 1264); 20 °C are 68 °F.
	hotFloorC = 50
	// heatedOutdoorC: nobody heats when it is so warm outdoors, and -6 °C are
	// 21 °F.
	heatedOutdoorC = 21
	enoughHeatingS = 4 * 3600
	kPerF          = 5 / 9.0
	zeroC          = 32.0 // °F
)

func celsius(valueF float64) float64 { return (valueF - zeroC) * kPerF }

// fahrenheit finds thermometers in °F that are taken for °C.
func (l *look) fahrenheit() []Suspicion {
	var found []Suspicion
	first, last, v, ok := l.latest(func(_ int, b *block) (verdict, float64) { return waterInF(b), b.runFlowC.s })
	if ok {
		channels := [][]ingest.Channel{{"flow_temp", "return_temp"}, {"flow_temp"}, {"return_temp"}}[v]
		found = append(found, l.inF(channels, first, last))
	}
	found = append(found, l.hotInF()...)
	var outdoorC span
	for k := range l.blocks {
		outdoorC.join(l.blocks[k].heatingOutdoorC)
	}
	if outdoorC.s > enoughHeatingS && outdoorC.mean() > heatedOutdoorC {
		found = append(found, l.inF([]ingest.Channel{ingest.Channel(ingest.OutdoorTemp)}, 0, len(l.blocks)))
	}
	return found
}

// hotInF finds cylinders and floors that would be too hot.
func (l *look) hotInF() (found []Suspicion) {
	for _, hot := range []struct {
		quantity ingest.Quantity
		aboveC   float64
	}{{ingest.CylinderTemp, hotCylinderC}, {ingest.FloorTemp, hotFloorC}} {
		for _, ch := range l.t.Channels(hot.quantity) {
			if c, _ := l.t.Column(ch); c.Len() > 0 && slices.Max(c.Value) > hot.aboveC && slices.Min(c.Value) > zeroC {
				found = append(found, l.inF([]ingest.Channel{ch}, 0, len(l.blocks)))
			}
		}
	}
	return found
}

// waterInF judges flow and return of the heating water.
func waterInF(b *block) verdict {
	if b.runFlowC.s < blockMS/1000/4 {
		return silent
	}
	flowC, returnC := b.runFlowC.mean(), b.runReturnC.mean()
	switch diffK := flowC - returnC; {
	case min(flowC, returnC) > hotReturnC:
		return 0
	case diffK > farApartK && math.Abs(celsius(flowC)-returnC) < farApartK/2:
		return 1
	case -diffK > farApartK && math.Abs(celsius(returnC)-flowC) < farApartK/2:
		return 2
	}
	return right
}

func (l *look) inF(channels []ingest.Channel, first, last int) Suspicion {
	return Suspicion{
		Kind: WrongUnit, Channels: channels, Since: utc(l.blockStart(first)), Until: utc(l.blockStart(last)),
		Size: kPerF, Low: kPerF, High: kPerF, Unit: "times",
		Detail: fmt.Sprintf("%s reads like °F taken for °C: set the channel's unit", names(channels)),
	}
}
