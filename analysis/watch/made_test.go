package watch_test

import (
	"strings"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// begin of every case made by hand: a winter's midnight.
var begin = time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)

// made is a case made by hand, slot by slot.
type made struct {
	watch.Case
	at time.Time
}

func makeCase(l watch.Limits) *made {
	return &made{Case: watch.Case{Limits: l, Now: begin}, at: begin}
}

// next adds hours of slots, each as the functions leave it.
func (m *made) next(hours float64, shape ...func(s *watch.Slot)) *made {
	for end := m.at.Add(time.Duration(hours * float64(time.Hour))); m.at.Before(end); m.at = m.at.Add(watch.SlotLength) {
		s := watch.Slot{From: m.at, Rooms: map[string]siteday.Mean{}}
		for _, f := range shape {
			f(&s)
		}
		m.Slots = append(m.Slots, s)
	}
	m.Now = m.at
	return m
}

// found runs the rules and keeps the findings of a name.
func (m *made) found(name string) []watch.Finding {
	var kept []watch.Finding
	c := m.Case
	for _, f := range watch.Run(&c) {
		if f.Name() == name {
			kept = append(kept, f)
		}
	}
	return kept
}

const slotS = 300

func mean(value float64) siteday.Mean { return siteday.Mean{ValueS: value * slotS, S: slotS} }

func outdoor(c float64) func(*watch.Slot) { return func(s *watch.Slot) { s.Outdoor = mean(c) } }

func state(of operation.State) func(*watch.Slot) {
	return func(s *watch.Slot) { s.SecondsS[of] = slotS }
}

func room(place string, c float64) func(*watch.Slot) {
	return func(s *watch.Slot) { s.Rooms[place] = mean(c) }
}

// water is flow and return temperature, and flow rate.
func water(flowC, returnC, lph float64) func(*watch.Slot) {
	return func(s *watch.Slot) { s.Flow, s.Return, s.FlowRate = mean(flowC), mean(returnC), mean(lph) }
}

// heating at a flow temperature that was to be the target.
func heating(flowC, targetC float64) func(*watch.Slot) {
	return func(s *watch.Slot) {
		s.SecondsS[operation.Heating] = slotS
		s.Settled.S, s.Settled.Flow, s.Settled.Target = slotS, mean(flowC), mean(targetC)
		s.Flow, s.Return, s.FlowRate = mean(flowC), mean(flowC-5), mean(1000)
	}
}

func after(hours float64) time.Time { return begin.Add(time.Duration(hours * float64(time.Hour))) }

// textOf is all that a finding says.
func textOf(f watch.Finding) string {
	return strings.Join(append(append([]string{f.Title, f.Caution, f.Basis}, f.Causes...), f.Next...), "\n")
}
