package job

import (
	"context"
	"slices"
	"sync"

	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/curve"
	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/analysis/efficiency"
	"coldweek/analysis/flowrate"
	"coldweek/analysis/metrology"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

const (
	joulePerKWh = 3.6e6
	// minDayCoverage makes a day usable (common practice, no source).
	minDayCoverage = 0.9
)

// Analyse answers for a window of whole local days.
func Analyse(ctx context.Context, st Store, record *site.Record, w Window, progress Progress) (*Result, error) {
	result, _, err := AnalyseWithDays(ctx, st, record, w, progress)
	return result, err
}

// CountWithDays is the part of Analyse's answer that needs no fit, which costs
// little, and gives the days too that it is made of.
func CountWithDays(ctx context.Context, st Store, record *site.Record, w Window, progress Progress) (*Result, []siteday.Day, error) {
	r, days, err := read(ctx, st, record, w, progress)
	if err != nil {
		return nil, nil, err
	}
	result := Count(record, w, days, sourceOf(r.channels))
	result.Warnings = Doubts(record, days)
	return result, days, nil
}

// AnalyseWithDays is Analyse and gives the days too that the answer is made of.
func AnalyseWithDays(ctx context.Context, st Store, record *site.Record, w Window, progress Progress) (*Result, []siteday.Day, error) {
	r, days, err := read(ctx, st, record, w, progress)
	if err != nil {
		return nil, nil, err
	}
	result := Summarise(record, w, days, sourceOf(r.channels))
	if err := r.lookCloser(ctx, w, result); err != nil {
		return nil, nil, err
	}
	return result, days, nil
}

// lookCloser adds to an answer what only readings tell.
func (r *reader) lookCloser(ctx context.Context, w Window, result *Result) error {
	if step := result.FlowRate.Step; step != nil {
		span, err := r.look(ctx, step.From, step.To)
		if err != nil {
			return err
		}
		result.FlowRate.Date(span.Trace, span.Operation)
	}
	if circuitsWanted(r.channels) {
		span, err := r.look(ctx, w.To.AddDate(0, 0, -circuitDays), w.To)
		if err != nil {
			return err
		}
		result.Emitters.Circuits = watchedCircuits(r.record, span.Trace, span.Operation)
	}
	return nil
}

// Summarise makes the answer of site days alone.
func Summarise(record *site.Record, w Window, days []siteday.Day, source trace.Source) *Result {
	sums := siteday.Merge(days)
	return summarised(record, w, days, &sums, source)
}

// summarised is Summarise where the days are merged already. The curve takes as long
// as all the rest, so it is fitted beside it.
func summarised(record *site.Record, w Window, days []siteday.Day, sums *siteday.Sums, source trace.Source) *Result {
	var fitting sync.WaitGroup
	var fitted *curve.Fit
	fitting.Go(func() { fitted = curveOf(record, sums) })
	r := counted(record, w, days, sums, source)
	r.Warnings = Doubts(record, days)
	if r.FlowRate = flowrate.Of(days); r.FlowRate.Trend != nil {
		r.Flow.TrendPctPerWeek = &r.FlowRate.Trend.PctPerWeek.Value
	}
	r.lose(record, sums, days)
	r.Sizing = capacity.Of(sums.Hours, capacityPlantOf(record), capacity.Need(r.Needed))
	r.Capacity = capacityOf(&r.Sizing, sums)
	fitting.Wait()
	r.Curve, r.HeatingCurve = fitted, heatingCurveOf(record, fitted)
	r.CurveAdvice = adviceOf(record, sums, r)
	r.Emitters = emittersOf(record, sums, w.To)
	return r
}

// Count is the part of the answer of site days that needs no fit: it costs little.
// It is without Doubts.
func Count(record *site.Record, w Window, days []siteday.Day, source trace.Source) *Result {
	sums := siteday.Merge(days)
	return counted(record, w, days, &sums, source)
}

// counted is the part of an answer that needs no fit.
func counted(record *site.Record, w Window, days []siteday.Day, sums *siteday.Sums, source trace.Source) *Result {
	r := &Result{
		Site: record.ID, From: w.From, To: w.To,
		Coverage: sums.CoveredS / w.To.Sub(w.From).Seconds(),
	}
	if sums.CoveredS > 0 {
		r.Heat = heatOf(sums, source)
		r.Electricity = electricityOf(sums)
		period := meteredPeriod(record, sums, days, r.Coverage)
		r.Efficiency = efficiencyOf(record, &period, r.Heat, r.Electricity)
		if doubt, ok := period.Heat(); ok {
			r.Heat.UncertaintyPct = &doubt.Pct
		}
		r.Efficiencies = efficiency.Of(sums, metersOf(record), pointsOf(record))
		r.Assumed = append(period.Assumed(), r.Efficiencies.Assumed...)
	}
	r.Flow = flowOf(record, sums)
	r.Defrost = defrostOf(sums)
	r.Defrosting = defrost.Summarise(sums)
	r.Running = cycling.Summarise(sums, plantOf(record))
	r.Cycling = cyclingOf(sums, r.Running.Short)
	r.HotWater = hotWaterOf(sums)
	r.Rooms = comfort.Of(sums, roomSets(record))
	r.Comfort = comfortOf(&r.Rooms)
	r.Cost = costOf(record, sums)
	for i := range days {
		r.Days = append(r.Days, briefDay(&days[i]))
	}
	return r
}

// lose fits what the house loses.
func (r *Result) lose(record *site.Record, sums *siteday.Sums, days []siteday.Day) {
	r.Loss = lossOf(record, sums, days, r.Coverage)
	r.HeatLoss, r.Needed = heatLossOf(record, r.Loss), r.Loss.NetAt
}

// sourceOf says what heat is made of where these channels are.
func sourceOf(channels []ingest.Channel) trace.Source {
	has := func(quantities ...ingest.Quantity) bool {
		return !slices.ContainsFunc(quantities, func(q ingest.Quantity) bool { return !slices.Contains(channels, ingest.Channel(q)) })
	}
	switch {
	case has(ingest.HeatRegister):
		return trace.HeatFromRegister
	case has(ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate):
		return trace.HeatFromFlow
	case has(ingest.HeatOutput):
		return trace.HeatFromHeatOutput
	}
	return trace.NoHeat
}

// spaceHeatJ is heat to the rooms: what a defrost gives instead of drawing
// belongs to them.
func spaceHeatJ(s *siteday.Sums) float64 {
	return s.HeatJ[operation.Heating] + s.HeatJ[operation.Defrost] + s.DrawnJ
}

// netHeatJ is space heating plus hot water less what defrosts drew.
func netHeatJ(s *siteday.Sums) float64 {
	return spaceHeatJ(s) + s.HeatJ[operation.HotWater] - s.DrawnJ
}

func heatOf(s *siteday.Sums, source trace.Source) Heat {
	if source == trace.HeatFromRegister && s.HeatRegister.UsedS == 0 {
		source = trace.HeatFromFlow
	}
	name := string(source)
	return Heat{
		SpaceKWh: kWh(spaceHeatJ(s)), HotWaterKWh: kWh(s.HeatJ[operation.HotWater]), DefrostDrawnKWh: kWh(s.DrawnJ),
		NetKWh: kWh(netHeatJ(s)), Source: &name,
	}
}

func electricityOf(s *siteday.Sums) Electricity {
	e := s.ElectricityJ
	totalJ := e.Total()
	return Electricity{
		TotalKWh: kWh(totalJ), SpaceKWh: kWh(e[operation.Heating]), HotWaterKWh: kWh(e[operation.HotWater]),
		DefrostKWh: kWh(e[operation.Defrost]),
		StandbyKWh: kWh(totalJ - e[operation.Heating] - e[operation.HotWater] - e[operation.Defrost]),
		BackupKWh:  ifKnown(s.BackupJ/joulePerKWh, s.BackupKnownS),
	}
}

func efficiencyOf(record *site.Record, period *metrology.Period, h Heat, e Electricity) Efficiency {
	boundary := string(metersOf(record).Boundary())
	result := Efficiency{Boundary: &boundary, Space: ratio(h.SpaceKWh, e.SpaceKWh), HotWater: ratio(h.HotWaterKWh, e.HotWaterKWh)}
	if spf, ok := period.SPF(); ok {
		result.Overall, result.Low, result.High = &spf.Value, &spf.Low, &spf.High
	}
	return result
}

func defrostOf(s *siteday.Sums) Defrost {
	var minutes, intervals []float64
	episodes := []DefrostEpisode{}
	for i, d := range s.Defrosts {
		minutes = append(minutes, d.To.Sub(d.From).Minutes())
		if i > 0 {
			intervals = append(intervals, d.From.Sub(s.Defrosts[i-1].From).Minutes())
		}
		episodes = append(episodes, DefrostEpisode{From: d.From, To: d.To, OutdoorC: d.OutdoorC, DrawnKWh: d.DrawnJ / joulePerKWh})
	}
	result := Defrost{Episodes: episodes}
	if s.KnownS() > 0 {
		count, total := len(episodes), sum(minutes)
		result.Count, result.Minutes = &count, &total
		result.ShareOfRunTime = ifKnown(total*60/s.RunS(), s.RunS())
		electricityJ := s.ElectricityJ.Total()
		result.ShareOfElectricity = ifKnown(s.ElectricityJ[operation.Defrost]/electricityJ, electricityJ)
		result.DrawnKWh = ifKnown(s.DrawnJ/joulePerKWh, s.CoveredS)
		result.MedianMinutes, result.MedianIntervalMinutes = median(minutes), median(intervals)
	}
	return result
}

func cyclingOf(s *siteday.Sums, short int) Cycling {
	result := Cycling{Runs: []Run{}}
	starts := 0
	var minutes []float64
	for _, run := range s.Runs {
		result.Runs = append(result.Runs, Run{From: run.From, To: run.To, Kind: run.Kind()})
		minutes = append(minutes, run.To.Sub(run.From).Minutes())
		if run.Started {
			starts++
		}
	}
	if s.KnownS() > 0 {
		hours := s.RunS() / 3600
		result.Starts, result.ShortRuns, result.RunHours = &starts, &short, &hours
		result.StartsPerRunHour = ifKnown(float64(starts)/hours, hours)
		result.MedianRunMinutes = median(minutes)
	}
	return result
}

func hotWaterOf(s *siteday.Sums) HotWater {
	result := HotWater{Runs: []HotWaterRun{}}
	for _, h := range s.HotWater {
		result.Runs = append(result.Runs, HotWaterRun{
			From: h.From, To: h.To, HeatKWh: h.HeatJ / joulePerKWh, ElectricityKWh: h.ElectricityJ / joulePerKWh, PeakFlowC: h.PeakFlowC,
		})
	}
	return result
}
