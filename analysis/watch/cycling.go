package watch

import (
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/cycling"
	"coldweek/analysis/siteday"
)

const (
	// Heating runs below shortTimes the site's short run are short when another
	// run ended shortly before; from longTimes on they are long. From 15 minutes
	// of running on, what a start costs is insignificant (Uhlmann and Bertsch
	// 2011); the rest is common practice, no source.
	shortTimes, longTimes = 1.5, 2
	sinceStop             = time.Hour
	// cycleRuns short ones more than long ones open the finding, so many more
	// long ones close it; a long run counts once for each short run's length in
	// it, up to mostLong.
	cycleRuns, mostLong = 4, 4
	// calmGap: in mild weather a plant cycles by day and not by night, which is one
	// finding.
	calmGap = 36 * time.Hour
)

// shortCycling tells of heating runs that are short one after the other.
func shortCycling(c *Case) []Finding {
	pieces := cyclePieces(c)
	bursts := Hold{cycleRuns, cycleRuns}.Episodes(pieces)
	var found []Finding
	for _, e := range bridge(closed(bursts, pieces), calmGap, c.dataUntil()) {
		found = append(found, cyclingFinding(c, e, pieces))
	}
	return found
}

// cyclePieces are the whole heating runs.
func cyclePieces(c *Case) []Piece {
	limit, short := c.Limits.shortRun(), c.Limits.ShortRun()
	events := c.Events()
	var pieces []Piece
	for i, run := range events.Runs {
		if !heatsWhole(events, run) {
			continue
		}
		p := Piece{From: run.From, To: run.To, S: 1}
		length := run.To.Sub(run.From)
		switch {
		case length >= longTimes*limit:
			p.Sign, p.S = Clear, min(float64(length)/float64(short), mostLong)
		case length < short && i > 0 && run.From.Sub(events.Runs[i-1].To) < sinceStop:
			p.Sign = Bad
		}
		pieces = append(pieces, p)
	}
	return pieces
}

// heatsWhole says whether a run was for heating alone, gave heat, and was seen
// from start to stop.
func heatsWhole(events *siteday.Sums, run siteday.Run) bool {
	whole := run.Started && run.Stopped && !events.GapWithin(run.From, run.From) && !events.GapWithin(run.To, run.To)
	barren := run.Took.S > 0 && run.Took.HeatJ < run.Took.ElectricityJ
	return whole && !barren && run.Kind() == "heating"
}

func cyclingFinding(c *Case, e Episode, pieces []Piece) Finding {
	lengths, short := []float64{}, 0
	for _, p := range pieces[e.First:e.Last] {
		lengths = append(lengths, p.To.Sub(p.From).Minutes())
		if p.Sign == Bad {
			short++
		}
	}
	f := Finding{
		Kind: "short_cycling", Severity: Attention, Since: e.Since, Until: e.Until,
		Evidence: []Figure{{"median_run_minutes", median(lengths), "min", 0}, {"short_runs", float64(short), "", 0}},
		Next: []string{
			"see in which weather it cycles: below the machine's lowest output some cycling is usual, in the cold it is not",
			"look at the heating curve, the hysteresis and the room thermostats' settings",
			"see that all circuits are open, so that the machine has its water",
		},
	}
	f.Title = fmt.Sprintf("The compressor cycles: %d short heating runs, half of them under %.0f minutes", short, median(lengths))
	f.Causes = cyclingCauses(c, e, &f)
	return f
}

// cyclingCauses are those that the days since it began show, likeliest first.
func cyclingCauses(c *Case, e Episode, f *Finding) []string {
	report := cycling.Summarise(c.recentSince(e.Since), c.Limits.Plant)
	if report.Busiest != nil {
		f.Evidence = append(f.Evidence, Figure{"starts_in_an_hour", float64(report.Busiest.Starts), "", 0})
	}
	var causes []string
	for i, cause := range report.Causes {
		if cause.Finding != cycling.Likely {
			continue
		}
		if i == 0 {
			f.Title += "; " + lowerFirst(cause.Title)
		}
		causes = append(causes, cause.Title)
	}
	if len(causes) == 0 {
		return []string{"a lowest output above what the house takes", "too little water", "a room thermostat that switches the machine", "a narrow hysteresis"}
	}
	return causes
}

func lowerFirst(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// recentSince merges the last days from the one that holds a time.
func (c *Case) recentSince(since time.Time) *siteday.Sums {
	from := max(len(c.Days)-slotDays, 0)
	for from < len(c.Days)-1 && !c.Days[from].To.After(since) {
		from++
	}
	sums := siteday.Merge(c.Days[from:])
	return &sums
}
