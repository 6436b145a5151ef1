package job_test

import (
	"fmt"
	"time"

	"coldweek/analysis/job"
)

// overlapScore counts true and found episodes that cover each other by half.
func overlapScore(truth, found [][2]time.Time) (hitTruth, hitFound int) {
	match := func(a, b [2]time.Time) bool {
		from, to := a[0], a[1]
		if b[0].After(from) {
			from = b[0]
		}
		if b[1].Before(to) {
			to = b[1]
		}
		longer := max(a[1].Sub(a[0]), b[1].Sub(b[0]))
		return 2*to.Sub(from) >= longer
	}
	count := func(as, bs [][2]time.Time) int {
		n := 0
		for _, a := range as {
			for _, b := range bs {
				if match(a, b) {
					n++
					break
				}
			}
		}
		return n
	}
	return count(truth, found), count(found, truth)
}

// score is one plant's detection against its truth.
type score struct {
	plant                          string
	defrosts, hit, found, foundHit int
	minutes, trueMinutes           float64
	starts, trueStarts             int
	hotWaterKWh, trueHotWaterKWh   float64
	netPct, electricityPct         float64
}

func scoreOf(p played, r *job.Result) score {
	s := score{plant: p.plant.ID, starts: *r.Cycling.Starts, trueStarts: p.truth.Starts,
		hotWaterKWh: *r.Heat.HotWaterKWh, trueHotWaterKWh: p.truth.Heat.HotWaterKWh,
		netPct:         100 * (*r.Heat.NetKWh/p.truth.Heat.NetKWh - 1),
		electricityPct: 100 * (*r.Electricity.TotalKWh/p.truth.Electricity.TotalKWh - 1)}
	var truth, found [][2]time.Time
	for _, d := range p.truth.Defrosts {
		truth = append(truth, [2]time.Time{d.From, d.To})
		s.trueMinutes += d.To.Sub(d.From).Minutes()
	}
	for _, d := range r.Defrost.Episodes {
		found = append(found, [2]time.Time{d.From, d.To})
		s.minutes += d.To.Sub(d.From).Minutes()
	}
	s.defrosts, s.found = len(truth), len(found)
	s.hit, s.foundHit = overlapScore(truth, found)
	return s
}

func (s score) String() string {
	return fmt.Sprintf("%-9s defrosts %4d recall %5.1f %% precision %5.1f %% minutes %+6.1f %%  starts %4d of %4d  hot water %6.1f of %6.1f kWh (%+5.1f %%)  net %+5.2f %% el %+5.2f %%",
		s.plant, s.defrosts, share(s.hit, s.defrosts), share(s.foundHit, s.found), deviation(s.minutes, s.trueMinutes), s.starts, s.trueStarts,
		s.hotWaterKWh, s.trueHotWaterKWh, deviation(s.hotWaterKWh, s.trueHotWaterKWh), s.netPct, s.electricityPct)
}

// deviation in percent; none of nothing is right.
func deviation(found, truth float64) float64 {
	if truth == 0 && found == 0 {
		return 0
	}
	return 100 * (found/truth - 1)
}

func share(a, b int) float64 {
	if b == 0 {
		return 100
	}
	return 100 * float64(a) / float64(b)
}
