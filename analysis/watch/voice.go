package watch

import (
	"maps"
	"slices"
	"time"

	"coldweek/analysis/siteday"
	"coldweek/ingest"
)

// leastGap: shorter silences are nobody's business.
const leastGap = 20 * time.Minute

// Voice is when a channel was heard in a day.
type Voice struct {
	Channel     ingest.Channel
	First, Last time.Time     // of its readings
	Gaps        []siteday.Gap // the longer silences between them
}

// Hear lists the channels that had readings at from <= time < to.
func Hear(columns []ingest.Column, from, to time.Time) []Voice {
	var voices []Voice
	for _, c := range columns {
		first, _ := slices.BinarySearch(c.UnixMS, from.UnixMilli())
		last, _ := slices.BinarySearch(c.UnixMS, to.UnixMilli())
		if first == last {
			continue
		}
		ms := c.UnixMS[first:last]
		v := Voice{Channel: c.Channel, First: time.UnixMilli(ms[0]).UTC(), Last: time.UnixMilli(ms[len(ms)-1]).UTC()}
		for i := 1; i < len(ms); i++ {
			if ms[i]-ms[i-1] >= leastGap.Milliseconds() {
				v.Gaps = append(v.Gaps, siteday.Gap{From: time.UnixMilli(ms[i-1]).UTC(), To: time.UnixMilli(ms[i]).UTC()})
			}
		}
		voices = append(voices, v)
	}
	return voices
}

// gaps returns the silences of every channel in order of time, the last one up to
// Now if it lasts. One that began before the slots begins with them, unless it
// fills them.
func (c *Case) gaps() map[ingest.Channel][]siteday.Gap {
	last, all := map[ingest.Channel]time.Time{}, map[ingest.Channel][]siteday.Gap{}
	for ch, began := range c.Began {
		if began.Before(c.SlotsFrom()) {
			last[ch] = c.SlotsFrom()
		}
	}
	for _, v := range c.Voices {
		if from, ok := last[v.Channel]; ok && v.First.Sub(from) >= leastGap {
			all[v.Channel] = append(all[v.Channel], siteday.Gap{From: from, To: v.First})
		}
		all[v.Channel] = append(all[v.Channel], v.Gaps...)
		last[v.Channel] = v.Last
	}
	for ch, newest := range c.Newest {
		heard, ok := last[ch]
		if !newest.After(c.Now) && (newest.After(heard) || heard.Equal(c.SlotsFrom())) {
			heard, ok = newest, true
		}
		if _, spoke := all[ch]; !spoke {
			all[ch] = nil
		}
		if now := c.publishersNow(); ok && now.Sub(heard) >= leastGap {
			all[ch] = append(all[ch], siteday.Gap{From: heard, To: now})
		}
	}
	return all
}

// siteGaps lists the times in which all channels were silent.
func (c *Case) siteGaps(all map[ingest.Channel][]siteday.Gap) []siteday.Gap {
	common := []siteday.Gap{{From: c.began(), To: c.publishersNow()}}
	for _, ch := range slices.Sorted(maps.Keys(all)) {
		gaps := all[ch]
		if began := c.Began[ch]; began.After(c.SlotsFrom()) {
			gaps = append([]siteday.Gap{{From: c.began(), To: began}}, gaps...)
		}
		common = shared(common, gaps)
	}
	return slices.DeleteFunc(common, func(g siteday.Gap) bool { return g.To.Sub(g.From) < leastGap })
}

// began is when the first of the channels was first heard.
func (c *Case) began() time.Time {
	first := c.Now
	for _, at := range c.Began {
		if at.Before(first) {
			first = at
		}
	}
	return first
}

// shared is what two lists of times have in common, both in order.
func shared(a, b []siteday.Gap) []siteday.Gap {
	var common []siteday.Gap
	for i, k := 0, 0; i < len(a) && k < len(b); {
		g := siteday.Gap{From: siteday.Later(a[i].From, b[k].From), To: siteday.Earlier(a[i].To, b[k].To)}
		if g.From.Before(g.To) {
			common = append(common, g)
		}
		if a[i].To.Before(b[k].To) {
			i++
		} else {
			k++
		}
	}
	return common
}
