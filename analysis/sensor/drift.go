package sensor

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
)

// An outdoor sensor has two witnesses. The heat a house needs follows the true
// difference of room and outdoors, so if heat stays and the reading climbs, one
// of house and sensor has changed. The share of Carnot's efficiency that the
// machine reaches is reckoned with the reading too, so if it sinks, one of
// machine and sensor has changed. Of both at once, to the same side and by the
// same number of K, the sensor is the likelier cause.
const (
	leastDriftDays, leastSideDays = 16, 5
	// Both witnesses must be sure, each by sureErrors of its standard error, and
	// see so much.
	sureErrors              = 4.0
	leastDriftK, leastSeenK = 1.5, 1.0
	apartTimes              = 2.5  // they may differ, since both have errors of their method
	methodShare             = 0.35 // standard deviation of that
	meanFlowK               = 308  // of 35 °C, to turn a share of Carnot into K
	usableShare             = 0.9
	leastHeatingS           = 2 * 3600
)

// witness is what one day says.
type witness struct {
	day       int
	roomLessC float64 // room less outdoor, as read
	heatW     float64 // to the rooms, mean of the day
	logCarnot float64
	liftK     float64
}

// Drift finds since when the outdoor reading of days in ascending order moves away
// from what it was. It needs room temperatures: without them a controller that
// believes the sensor makes the heat agree with it.
func Drift(days []siteday.Day) (Suspicion, bool) {
	all := witnesses(days)
	if len(all) < leastDriftDays {
		return Suspicion{}, false
	}
	liftK := 0.0
	for _, w := range all {
		liftK += w.liftK / float64(len(all))
	}
	best, at := moved{}, -1
	least := math.Inf(1)
	for k := leastSideDays; k+leastSideDays <= len(all); k++ {
		m, ok := movedSince(all, all[k].day, liftK)
		if ok && m.misfit < least {
			best, at, least = m, k, m.misfit
		}
	}
	if at < 0 || !best.sure() {
		return Suspicion{}, false
	}
	return best.suspicion(days, all[at].day, all[len(all)-1].day), true
}

func witnesses(days []siteday.Day) []witness {
	var all []witness
	for i := range days {
		s := &days[i].Sums
		outdoorC, ok := s.Outdoor.Of()
		roomC, rooms := 0.0, 0.0
		for _, place := range slices.Sorted(maps.Keys(s.Rooms)) {
			if c, known := s.Rooms[place].Of(); known {
				roomC, rooms = roomC+c, rooms+1
			}
		}
		h := operation.Heating
		if !ok || rooms == 0 || s.CoveredS < usableShare*s.SpanS || s.SecondsS[h] < leastHeatingS ||
			!(s.IdealJ[h] > 0 && s.IdealCoveredJ[h] > 0 && s.HeatJ[h] > 0) {
			continue
		}
		all = append(all, witness{
			day: i, roomLessC: roomC/rooms - outdoorC,
			heatW:     (s.HeatJ.Total() - s.HeatJ[operation.HotWater]) / s.CoveredS,
			logCarnot: math.Log(s.IdealJ[h] / s.IdealCoveredJ[h]),
			liftK:     meanFlowK * s.IdealJ[h] / s.HeatJ[h],
		})
	}
	return all
}

// moved is by how many K the reading rose too much up to the last day, by both
// witnesses.
type moved struct {
	days                    float64
	byHeatK, byHeatErrK     float64
	byCarnotK, byCarnotErrK float64
	misfit                  float64
}

// movedSince fits both witnesses with a reading that begins to move on a day.
func movedSince(all []witness, since int, liftK float64) (moved, bool) {
	var heat, carnot fit
	for _, w := range all {
		after := math.Max(0, float64(w.day-since))
		heat.add(after, w.roomLessC, w.heatW)
		carnot.add(after, w.roomLessC, w.logCarnot)
	}
	h, ok := heat.solve()
	c, both := carnot.solve()
	if !ok || !both || h.other <= 0 || h.other < sureErrors*h.otherErr {
		return moved{}, false
	}
	last := float64(all[len(all)-1].day - since)
	return moved{
		days: last, byHeatK: last * h.slope / h.other, byHeatErrK: last * h.slopeErr / h.other,
		byCarnotK: -last * c.slope * liftK, byCarnotErrK: last * c.slopeErr * liftK,
		misfit: math.Log(h.rss) + math.Log(c.rss),
	}, true
}

func (m moved) sure() bool {
	h, c := m.byHeatK, m.byCarnotK
	sizeK, _ := m.both()
	return h*c > 0 && math.Abs(h) > sureErrors*m.byHeatErrK && math.Abs(c) > sureErrors*m.byCarnotErrK &&
		math.Abs(sizeK) > leastDriftK && math.Min(math.Abs(h), math.Abs(c)) > leastSeenK &&
		math.Abs(math.Log(h/c)) < math.Log(apartTimes)
}

// both weighs the witnesses by their errors, with those of the method.
func (m moved) both() (sizeK, doubtK float64) {
	weigh := func(k, errK float64) float64 { return 1 / (errK*errK + methodShare*methodShare*k*k) }
	wh, wc := weigh(m.byHeatK, m.byHeatErrK), weigh(m.byCarnotK, m.byCarnotErrK)
	return (wh*m.byHeatK + wc*m.byCarnotK) / (wh + wc), 2 / math.Sqrt(wh+wc)
}

func (m moved) suspicion(days []siteday.Day, first, last int) Suspicion {
	sizeK, doubtK := m.both()
	side := "too warm"
	if sizeK < 0 {
		side = "too cold"
	}
	return Suspicion{
		Kind: Drifting, Channels: []ingest.Channel{ingest.Channel(ingest.OutdoorTemp)},
		Since: days[first].From, Until: days[last].To, Size: sizeK, Low: sizeK - doubtK, High: sizeK + doubtK, Unit: "K",
		Detail: fmt.Sprintf("the outdoor temperature has come to read %.1f K (%.1f to %.1f) %s since about %s, against what it was: the house takes heat as at another temperature (%.1f K) and the machine works as against one (%.1f K); compare it with a thermometer in the shade",
			math.Abs(sizeK), math.Min(math.Abs(sizeK-doubtK), math.Abs(sizeK+doubtK)), math.Max(math.Abs(sizeK-doubtK), math.Abs(sizeK+doubtK)), side, days[first].Date, m.byHeatK, m.byCarnotK),
	}
}

func circulatingS(s *siteday.Sums) float64 { return s.SecondsS[operation.Circulating] }
