package job

import (
	"context"
	"fmt"
	"slices"
	"time"

	"coldweek/analysis/capacity"
	"coldweek/analysis/review"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// reviewedDays are how far back the coldest week is looked for: a year holds one
// winter.
const reviewedDays = 366

// Review answers for a window of whole local days, which were chosen as said.
func Review(ctx context.Context, st WatchStore, record *site.Record, w Window, chosen string, watched Watching, progress Progress) (*review.Review, error) {
	r, days, err := read(ctx, st, record, w, progress)
	if err != nil {
		return nil, err
	}
	found, ruled, err := foundIn(ctx, st, record, w, watched, progress)
	if err != nil {
		return nil, err
	}
	sums := siteday.Merge(days)
	result := summarised(record, w, days, &sums, sourceOf(r.channels))
	return review.Of(&review.Week{
		Site: record.ID, Name: record.Name, From: w.From, To: w.To, Chosen: chosen, Coverage: result.Coverage, Enough: minDayCoverage, Channels: r.channels,
		Limits: limitsOf(record, r.known), DesignDifferenceK: designDifferenceK(record), SetAtDesignC: result.HeatingCurve.Set.FlowAtDesignC, HasBackup: hasBackup(record),
		Days: days, Sums: &sums, Flow: result.FlowRate, Frost: result.Defrosting, Runs: result.Running, Curve: result.Curve,
		Rooms: result.Rooms, Loss: result.Loss, Sizing: result.Sizing, FullW: fullOutput(record, &sums),
		Findings: found, Ruled: ruled,
	}), nil
}

func designDifferenceK(record *site.Record) *float64 {
	if record.Design == nil {
		return nil
	}
	return record.Design.FlowReturnDifferenceK
}

// hasBackup says whether the record knows of a backup heater.
func hasBackup(record *site.Record) bool {
	m := record.Metering
	return m != nil && (slices.Contains(m.ElectricityCovers, "backup_heater") || m.HeatMeter != nil && m.HeatMeter.AfterBackupHeater)
}

// fullOutput is the greatest output at any outdoor temperature as at the design's.
func fullOutput(record *site.Record, sums *siteday.Sums) func(outdoorC float64) (robust.Estimate, bool) {
	return func(outdoorC float64) (robust.Estimate, bool) {
		plant := capacityPlantOf(record)
		plant.DesignC = &outdoorC
		at := capacity.Of(sums.Hours, plant, nil).AtDesign
		if at == nil {
			return robust.Estimate{}, false
		}
		return *at, true
	}
}

// ColdestWeek chooses the days of a review: the coldest week in a row of the last
// year of whole days, since that is when a plant shows what it can do; the last
// week where the outdoor temperature is not known. It says how they were chosen.
// Without readings it is the last week before now.
func ColdestWeek(ctx context.Context, st Store, record *site.Record, now time.Time, progress Progress) (Window, string, error) {
	all, stored, err := wholeDays(ctx, st, record, now.In(record.Zone()))
	if err != nil {
		return Window{}, "", err
	}
	days := all.days()
	switch {
	case !stored:
		return all, "the last seven days, of which nothing is stored", nil
	case len(days) <= review.WeekDays:
		return all, review.WhyColdest(len(days)), nil
	}
	outdoorC, known, err := outdoorOf(ctx, st, record, all, progress)
	if err != nil {
		return Window{}, "", err
	}
	last := len(days) - review.WeekDays
	if !known {
		return Window{From: days[last].from, To: all.To}, "the last seven whole days stored, since the outdoor temperature is not known", nil
	}
	first := review.Coldest(outdoorC)
	return Window{From: days[first].from, To: days[first+review.WeekDays-1].to}, review.WhyColdest(len(days)), nil
}

// wholeDays are those of the last year that readings fill, or the days of the
// readings where they fill none; without readings the last week.
func wholeDays(ctx context.Context, st Store, record *site.Record, now time.Time) (w Window, stored bool, err error) {
	extents, err := st.Extents(ctx, record.ID)
	if err != nil {
		return w, false, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	y, m, d := now.Date()
	today := StartOfDay(y, m, d, now.Location())
	if len(extents) == 0 {
		return Window{From: StartOfDay(y, m, d-review.WeekDays, now.Location()), To: today}, false, nil
	}
	first, last := store.Span(extents)
	if last.After(now) {
		last = now
	}
	touched := WindowAround(first.In(now.Location()), last.In(now.Location()).Add(time.Minute))
	whole, days := touched, touched.days()
	if first.Sub(touched.From) > nearlyWhole {
		whole.From = days[0].to
	}
	if touched.To.Sub(last) > nearlyWhole {
		whole.To = days[len(days)-1].from
	}
	if !whole.To.After(whole.From) {
		return touched, true, nil
	}
	y, m, d = whole.To.Date()
	whole.From = siteday.Later(whole.From, StartOfDay(y, m, d-reviewedDays, now.Location()))
	return whole, true, nil
}

// nearlyWhole may be missing of a day's beginning or end.
const nearlyWhole = time.Hour

// outdoorOf are the days' mean outdoor temperatures: of stored days as they are
// stored, of others computed.
func outdoorOf(ctx context.Context, st Store, record *site.Record, all Window, progress Progress) (meansC []*float64, known bool, err error) {
	days := all.days()
	r, err := newReader(ctx, st, record)
	if err != nil {
		return nil, false, err
	}
	kept, err := r.kept(ctx, days)
	if err != nil {
		return nil, false, err
	}
	missing, at := []localDay{}, []int{}
	meansC = make([]*float64, len(days))
	for i, d := range days {
		if k, ok := kept[d.date]; !ok {
			missing, at = append(missing, d), append(at, i)
		} else if c, ok := k.Fields["outdoor_c"]; ok {
			meansC[i], known = &c, true
		}
	}
	read, err := r.read(ctx, missing, nil, progress)
	if err != nil {
		return nil, false, err
	}
	for k, day := range read {
		meansC[at[k]] = meanOf(day.Sums.Outdoor)
	}
	for _, k := range at {
		known = known || meansC[k] != nil
	}
	return meansC, known, nil
}
