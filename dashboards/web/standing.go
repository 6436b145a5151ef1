package web

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/site"
)

// standing is how urgently a plant wants to be looked at: by its open findings
// and, where there are none, by four plain figures.
type standing struct {
	record     *site.Record
	found      []noticed // the worst first
	lastSeen   time.Time
	silentS    float64
	Coverage   float64 // of the last seven whole days; 1 when not known
	runMinutes float64 // a usual run, 0 when not known
	startsPerD float64 // starts a day
	FlowShare  float64 // flow as a ratio of what is needed; 0 when not known
}

const (
	// enoughCoverage is what a healthy telemetry reaches.
	enoughCoverage = 0.9
	// Short cycling and low flow as in a first look: runs below 15 minutes on
	// days with six starts or more, flow below the maker's minimum, or below
	// 70 % of the commissioned (common practice, no source).
	shortRunMinutes = 15
	manyStartsPerD  = 6
	lowFlowShare    = 0.7
)

// concern is the first reason to look at a plant, in the order in which plants
// are listed.
type concern int

const (
	urgent concern = iota
	silent
	attention
	patchy
	shortCycling
	lowFlow
	remarked // by a finding for information
	noConcern
)

// worstFirst tells the order to the reader.
const worstFirst = "Worst first: urgent findings, then silent the longest, then findings that ask for attention, then least measured, shortest runs, lowest flow; the rest by name."

// concern returns the reason and a number that is the less the worse it is.
func (s standing) concern() (concern, float64) {
	worst, count := s.worst()
	switch {
	case worst == watch.Urgent:
		return urgent, -count
	case s.silentS > 0:
		return silent, -s.silentS
	case worst == watch.Attention:
		return attention, -count
	case s.Coverage < enoughCoverage:
		return patchy, s.Coverage
	case s.runMinutes > 0 && s.runMinutes < shortRunMinutes && s.startsPerD >= manyStartsPerD:
		return shortCycling, s.runMinutes
	case s.FlowShare > 0 && s.FlowShare < 1:
		return lowFlow, s.FlowShare
	case worst == watch.Info:
		return remarked, -count
	}
	return noConcern, 0
}

// worst returns the severity of the worst open finding, "" without any, and how
// many are as bad.
func (s standing) worst() (worst watch.Severity, count float64) {
	for i := range s.found {
		switch f := &s.found[i]; {
		case !f.open():
		case worst == "":
			worst, count = f.finding.Severity, 1
		case f.finding.Severity == worst:
			count++
		}
	}
	return worst, count
}

// worse orders plants.
func worse(a, b standing) int {
	aConcern, aValue := a.concern()
	bConcern, bValue := b.concern()
	return cmp.Or(cmp.Compare(aConcern, bConcern), cmp.Compare(aValue, bValue), cmp.Compare(nameOf(a.record), nameOf(b.record)),
		cmp.Compare(a.record.ID, b.record.ID))
}

// reason says the concern in words, "" when there is none or the plant's state
// says it.
func (s standing) reason() string {
	c, _ := s.concern()
	switch c {
	case patchy:
		return fmt.Sprintf("%s of the last 7 days measured", percent(&s.Coverage))
	case shortCycling:
		return fmt.Sprintf("short runs, usually %s", length(time.Duration(s.runMinutes*float64(time.Minute))))
	case lowFlow:
		return fmt.Sprintf("low flow: %s of what is needed", percent(&s.FlowShare))
	}
	return ""
}

// storedStanding judges by what the store already holds, without computing any
// day, so that a large fleet can be put in order quickly.
func storedStanding(ctx context.Context, st job.Store, record *site.Record, now time.Time) (standing, error) {
	s := standing{record: record, Coverage: 1}
	var err error
	if s.lastSeen, err = lastSeen(ctx, st, record); err != nil {
		return s, err
	}
	s.silentS = silence(s.lastSeen, now).Seconds()
	today := dayOf(now.In(record.Zone()))
	days, err := st.Days(ctx, record.ID, daysOn(today, -7).Format(dateLayout), today.Format(dateLayout))
	if err != nil {
		return s, fmt.Errorf("read stored days of site %q: %w", record.ID, err)
	}
	coverage, runHours, starts, flowLPH := 0.0, 0.0, 0.0, 0.0
	for _, d := range days {
		coverage += d.Fields["coverage"]
		runHours += d.Fields["run_hours"]
		starts += d.Fields["starts"]
		flowLPH += d.Fields["flow_median_lph"]
	}
	if n := float64(len(days)); n > 0 {
		s.Coverage = coverage / n
		s.judge(record, starts/n, runHours/n, flowLPH/n)
	}
	return s, nil
}

// standingOf judges by an answer for whole days.
func standingOf(record *site.Record, lastSeen, now time.Time, week *job.Result) standing {
	s := standing{record: record, lastSeen: lastSeen, silentS: silence(lastSeen, now).Seconds(), Coverage: week.Coverage}
	if c := week.Cycling; c.Starts != nil && c.RunHours != nil && len(week.Days) > 0 {
		n := float64(len(week.Days))
		flowLPH := 0.0
		if week.Flow.MedianLPH != nil {
			flowLPH = *week.Flow.MedianLPH
		}
		s.judge(record, float64(*c.Starts)/n, *c.RunHours/n, flowLPH)
		if c.MedianRunMinutes != nil {
			s.runMinutes = *c.MedianRunMinutes
		}
	}
	return s
}

func (s *standing) judge(record *site.Record, startsPerD, runHours, flowLPH float64) {
	s.startsPerD = startsPerD
	if startsPerD > 0 {
		s.runMinutes = runHours * 60 / startsPerD
	}
	if needed := neededFlowLPH(record); needed > 0 {
		s.FlowShare = flowLPH / needed
	}
}

// neededFlowLPH is the flow below which a plant is in trouble, 0 when the
// record does not tell.
func neededFlowLPH(record *site.Record) float64 {
	if hp := record.HeatPump; hp != nil && hp.MinimumFlowLPH != nil {
		return *hp.MinimumFlowLPH
	}
	if c := record.Commissioned; c != nil && c.FlowRateLPH != nil {
		return lowFlowShare * *c.FlowRateLPH
	}
	return 0
}

// nameOf is what people call the plant.
func nameOf(record *site.Record) string {
	if record.Name != "" {
		return record.Name
	}
	return record.ID
}
