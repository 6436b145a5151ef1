package influx

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

const (
	msPerHour = 60 * 60 * 1000
	msPerDay  = 24 * msPerHour
)

// floorTo returns the last multiple of a period not after ms.
func floorTo(ms, period int64) int64 {
	rest := ms % period
	if rest < 0 {
		rest += period
	}
	return ms - rest
}

// channelDay is a channel of a site on one UTC day.
type channelDay struct {
	site    string
	channel ingest.Channel
	dayMS   int64
}

// known are the channel days noted in the bucket already.
type known struct {
	mu   sync.Mutex
	days map[channelDay]bool
}

// mostKnown bounds what is remembered; forgetting costs only that some points
// are written again.
const mostKnown = 200_000

func newKnown() *known { return &known{days: make(map[channelDay]bool)} }

func (k *known) has(d channelDay) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.days[d]
}

func (k *known) add(days map[channelDay]int64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.days)+len(days) > mostKnown {
		clear(k.days)
	}
	for d := range days {
		k.days[d] = true
	}
}

func (k *known) forget() {
	k.mu.Lock()
	defer k.mu.Unlock()
	clear(k.days)
}

// siteHour is an hour of a site.
type siteHour struct {
	site   string
	hourMS int64
}

// notes are what other processes learn of forwarded batches by.
type notes struct {
	writer string
	hours  map[siteHour]int64   // the last batch that touched it
	days   map[channelDay]int64 // the time of its last reading
}

// notesOf takes the hours from the batches, and the channel days from the
// samples that were kept.
func notesOf(writer string, batches []journal.Batch, kept samples) notes {
	n := notes{writer, make(map[siteHour]int64), make(map[channelDay]int64)}
	for _, batch := range batches {
		for _, r := range batch.Readings {
			n.hours[siteHour{r.Site, floorTo(r.Time.UnixMilli(), msPerHour)}] = batch.ID
		}
	}
	for _, one := range kept { // in ascending time
		n.days[channelDay{one.site, one.channel, floorTo(one.ms, msPerDay)}] = one.ms
	}
	return n
}

// lines returns a line for each day and hour. A channel's point has the time of
// a reading, so a retention policy that keeps one keeps the other.
func (n notes) lines() ([]string, error) {
	var lines []string
	for day, ms := range n.days {
		e := newEncoder(100)
		e.StartLine("channel")
		e.AddTag("channel", escapeName(string(day.channel)))
		e.AddTag("site", escapeName(day.site))
		e.AddField("seen", lineprotocol.IntValue(1))
		e.EndLine(time.UnixMilli(ms))
		lines = append(lines, string(e.Bytes()))
		if err := e.Err(); err != nil {
			return nil, err
		}
	}
	for hour, revision := range n.hours {
		e := newEncoder(100)
		e.StartLine("revision")
		e.AddTag("site", escapeName(hour.site))
		e.AddTag("writer", escapeName(n.writer))
		e.AddField("revision", lineprotocol.IntValue(revision))
		e.EndLine(time.UnixMilli(hour.hourMS))
		lines = append(lines, string(e.Bytes()))
		if err := e.Err(); err != nil {
			return nil, err
		}
	}
	return lines, nil
}

// note writes which channels the sites have readings of and which hours have
// changed. It comes after the readings, so who sees the revision sees them.
func (s *Store) note(ctx context.Context, n notes) error {
	maps.DeleteFunc(n.days, func(d channelDay, _ int64) bool { return s.known.has(d) })
	lines, err := n.lines()
	if err != nil {
		return err
	}
	old := false
	for part := range slices.Chunk(lines, s.options.BatchSize) {
		err := s.sendLines(ctx, part)
		if matterOf(err) == faulty && tooOld(err) {
			old = true // as the readings are, which are in quarantine
		} else if err != nil {
			return fmt.Errorf("note what has changed: %w", err)
		}
	}
	if !old {
		s.known.add(n.days)
	}
	return nil
}

// sendLines sends lines, in parts where the request is too large.
func (s *Store) sendLines(ctx context.Context, lines []string) error {
	err := s.send(ctx, lines...)
	if err == nil || matterOf(err) != oversized || len(lines) == 1 {
		return err
	}
	for _, half := range [][]string{lines[:len(lines)/2], lines[len(lines)/2:]} {
		if err := s.sendLines(ctx, half); err != nil {
			return err
		}
	}
	return nil
}
