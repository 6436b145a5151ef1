package defrost

import (
	"cmp"
	"fmt"
	"slices"

	"coldweek/analysis/robust"
)

// Kind is what starts the defrosts of a plant.
type Kind string

// The kinds. Of too few defrosts, or of weather that hardly changed, it is not
// known.
const (
	NotKnown Kind = ""
	Demand   Kind = "demand" // when there is frost
	Timed    Kind = "timed"  // by running time, frost or not
)

// What tells them apart (common practice, no source): by the clock, nearly all
// intervals of running time are alike whatever the weather; on demand they
// spread.
const (
	minIntervals       = 8
	clusterWidth       = 0.1 // intervals within 10 % are alike
	timedShare         = 0.7
	demandShare        = 0.5
	minRangeK          = 3.0
	minRangePct        = 15.0
	surelyDependsOn    = 0.01 // probability of such an order by chance
	lowShare, topShare = 0.1, 0.9
)

// Pattern is what starts the defrosts, and what says so.
type Pattern struct {
	Kind         Kind
	Why          string
	Intervals    int     // of running time from one defrost to the next, known whole
	MedianS      float64 // of them
	LowS, HighS  float64 // between which eight in ten of them lie
	ClusterS     float64 // the commonest interval
	ClusterShare float64 // of the intervals that are within 10 % of it
	// Range of the outdoor temperature over eight in ten of the defrosts, and of
	// the humidity; 0 when not known.
	OutdoorRangeK    float64
	HumidityRangePct float64
	// Whether intervals follow outdoor temperature and humidity: Tau above 0
	// when they are longer in warmer, or damper, air. Nil is not known.
	OnOutdoor, OnHumidity *robust.Trend
}

// interval is the running time before a defrost, and its air.
type interval struct {
	ranS                  float64
	outdoorC, humidityPct *float64
}

func patternOf(episodes []Episode) Pattern {
	var all []interval
	for _, e := range episodes {
		if e.RunBeforeS != nil {
			all = append(all, interval{*e.RunBeforeS, e.OutdoorC, e.HumidityPct})
		}
	}
	p := Pattern{Intervals: len(all)}
	if len(all) == 0 {
		p.Why = "there were no two defrosts in a row"
		return p
	}
	outdoor := func(i interval) *float64 { return i.outdoorC }
	humidity := func(i interval) *float64 { return i.humidityPct }
	p.OnOutdoor, p.OnHumidity = follows(all, outdoor), follows(all, humidity)
	slices.SortFunc(all, func(a, b interval) int { return cmp.Compare(a.ranS, b.ranS) })
	p.MedianS, p.LowS, p.HighS = at(all, 0.5).ranS, at(all, lowShare).ranS, at(all, topShare).ranS
	first, last := cluster(all)
	p.ClusterS, p.ClusterShare = all[(first+last-1)/2].ranS, float64(last-first)/float64(len(all))
	p.OutdoorRangeK, p.HumidityRangePct = rangeOf(all, outdoor), rangeOf(all, humidity)
	p.Kind, p.Why = p.judge()
	return p
}

// judge wants weather that changed before it calls anything timed: on demand,
// intervals are alike too while the weather is.
func (p *Pattern) judge() (Kind, string) {
	alike := fmt.Sprintf("%.0f %% of %d intervals are %.0f min of running, within 10 %%", 100*p.ClusterShare, p.Intervals, p.ClusterS/60)
	changed := p.OutdoorRangeK >= minRangeK || p.HumidityRangePct >= minRangePct
	switch {
	case p.Intervals < minIntervals:
		return NotKnown, fmt.Sprintf("of the intervals between them %d were seen whole, at least %d are needed", p.Intervals, minIntervals)
	case p.ClusterShare >= timedShare && changed:
		return Timed, fmt.Sprintf("%s, while the air ranged over %.0f K", alike, p.OutdoorRangeK)
	case p.ClusterShare >= timedShare:
		return NotKnown, alike + ", but the weather hardly changed"
	case p.ClusterShare <= demandShare:
		return Demand, fmt.Sprintf("intervals range from %.0f to %.0f min of running", p.LowS/60, p.HighS/60)
	case surely(p.OnOutdoor) || surely(p.OnHumidity):
		return Demand, "intervals follow the weather"
	}
	return NotKnown, alike + ": neither clearly alike nor clearly spread"
}

func surely(t *robust.Trend) bool { return t != nil && t.P < surelyDependsOn }

// cluster finds the most sorted intervals that lie within clusterWidth of each
// other.
func cluster(sorted []interval) (first, last int) {
	from := 0
	for to := range sorted {
		for sorted[to].ranS > sorted[from].ranS*(1+clusterWidth) {
			from++
		}
		if to+1-from > last-first {
			first, last = from, to+1
		}
	}
	return first, last
}

// rangeOf is how far the middle eight in ten lie apart, 0 when not known.
func rangeOf(all []interval, of func(interval) *float64) float64 {
	var values []float64
	for _, i := range all {
		if v := of(i); v != nil {
			values = append(values, *v)
		}
	}
	if len(values) == 0 {
		return 0
	}
	slices.Sort(values)
	return at(values, topShare) - at(values, lowShare)
}

// at is the value at a share of the way through sorted ones.
func at[V any](sorted []V, share float64) V { return sorted[int(share*float64(len(sorted)-1)+0.5)] }

// follows tests whether intervals, given in order of time, are ordered as a
// quantity is.
func follows(all []interval, of func(interval) *float64) *robust.Trend {
	var known []interval
	for _, i := range all {
		if of(i) != nil {
			known = append(known, i)
		}
	}
	slices.SortStableFunc(known, func(a, b interval) int { return cmp.Compare(*of(a), *of(b)) })
	lengths := make([]float64, len(known))
	for i := range known {
		lengths[i] = known[i].ranS
	}
	if trend, ok := robust.MannKendall(lengths); ok {
		return &trend
	}
	return nil
}
