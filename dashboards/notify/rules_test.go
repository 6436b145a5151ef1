package notify_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/ingest/store"
)

func TestUrgentIsToldAtOnceAndAttentionInTheDigest(t *testing.T) {
	d := open(t, ada())
	note := curveHigh(d.now)
	note.Kind, note.Severity = "defrost_often", store.Info
	d.put(lowFlow(d.now.Add(-20*time.Minute)), curveHigh(d.now.Add(-time.Hour)), note)
	digest := time.Date(2026, 1, 15, 7, 30, 0, 0, london)
	assert.True(t, d.step().Equal(digest))
	require.Equal(t, []string{"Urgent: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for"}, d.subjects())
	for _, words := range []string{
		"since Wed 14 Jan, 09:40", "310 l/h, median", "1. a strainer that is blocked", "3. vent the primaries", "CAUTION: Isolate the electricity",
		"Basis: the maker's limit", "https://pages.firm.example/plants/mill-cottage",
	} {
		assert.Contains(t, d.text(0), words)
	}
	d.until(digest.Add(-time.Second))
	assert.Len(t, d.subjects(), 1)
	d.until(digest)
	require.Len(t, d.subjects(), 2)
	assert.Equal(t, "Digest: Mill Cottage: Heating curve 4 K higher than the rooms need", d.subjects()[1])
	d.until(digest.Add(100 * time.Hour))
	assert.Len(t, d.subjects(), 2, "and that is all")
}

func TestTheSameEventIsToldOnce(t *testing.T) {
	d := open(t, ada())
	for range 3 {
		d.put(lowFlow(wednesday), lowFlow(wednesday))
		d.step()
		d.restart()
		d.now = d.now.Add(24 * time.Hour)
	}
	assert.Len(t, d.subjects(), 1)
	assert.EqualValues(t, 1, d.Ask("SELECT count(*) FROM event"))
}

func TestAnEngineerHearsOfTheirSitesAndSeverities(t *testing.T) {
	bea, cy := ada(), ada()
	bea.Name, bea.Sites = "Bea", []string{"moor-farm"}
	bea.EMail.Address = "bea@firm.example"
	cy.Name, cy.Severities = "Cy", []store.Severity{store.Urgent}
	cy.EMail.Address = "cy@firm.example"
	d := open(t, bea, cy)
	d.put(lowFlow(d.now), curveHigh(d.now), at("moor-farm", "Moor Farm", curveHigh(d.now)))
	d.put(ended(curveHigh(wednesday), d.now))
	d.until(d.now.Add(48 * time.Hour))
	got := map[string][]string{}
	for i, l := range d.mail.Letters() {
		got[l.To[0]] = append(got[l.To[0]], d.subjects()[i])
	}
	assert.Equal(t, map[string][]string{
		"bea@firm.example": {"Digest: Moor Farm: Heating curve 4 K higher than the rooms need"},
		"cy@firm.example":  {"Urgent: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for"},
	}, got)
}

func TestTheDigestGroupsBySiteTheWorstFirst(t *testing.T) {
	d := open(t, ada())
	cold := curveHigh(d.now)
	cold.Kind, cold.Title = "room_cold/kitchen", "Kitchen 2 K below its set temperature"
	short := curveHigh(d.now.Add(-30 * time.Hour))
	short.Kind, short.Title = "short_cycling", "9 starts an hour"
	d.put(at("a-house", "Alder House", ended(curveHigh(d.now.Add(-5*time.Hour)), d.now)))
	d.put(at("a-house", "Alder House", curveHigh(d.now.Add(-4*time.Hour))))
	d.put(curveHigh(d.now), cold, short, ended(short, d.now))
	d.until(time.Date(2026, 1, 15, 7, 30, 0, 0, london))
	require.Equal(t, []string{"Digest: 2 sites: 3 open findings and 1 ended"}, d.subjects())
	text := d.text(0)
	order := []string{
		"== Mill Cottage ==", "ATTENTION: Heating curve 4 K", "since Wed 14 Jan, 10:00", "ATTENTION: Kitchen 2 K below",
		"Ended: 9 starts an hour – from Tue 13 Jan, 04:00 to Wed 14 Jan, 10:00", "== Alder House ==", "since Wed 14 Jan, 06:00",
	}
	last := -1
	for _, words := range order {
		i := strings.Index(text, words)
		assert.Greater(t, i, last, "%q comes in its place in\n%s", words, text)
		last = i
	}
	assert.Equal(t, 1, strings.Count(text, "9 starts an hour"), "what is over takes one line")
}

func TestQuietHoursHoldBackWhatTheEngineerSays(t *testing.T) {
	night := time.Date(2026, 1, 14, 23, 10, 0, 0, london)
	morning := time.Date(2026, 1, 15, 6, 30, 0, 0, london)
	d := open(t, ada())
	d.now = night
	d.put(lowFlow(night))
	d.step()
	assert.Len(t, d.subjects(), 1, "urgent breaks them")
	d.now = night.Add(time.Hour)
	d.put(ended(lowFlow(night), d.now))
	assert.True(t, d.step().Equal(morning), "its end does not")
	d.until(morning)
	assert.Equal(t, "Ended: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for", d.subjects()[1])

	sleeper := ada()
	sleeper.Quiet.HoldsUrgent = true
	d = open(t, sleeper)
	d.now = night
	over := at("moor-farm", "Moor Farm", lowFlow(night))
	d.put(lowFlow(night), over)
	d.until(night.Add(2 * time.Hour))
	d.put(ended(over, d.now))
	d.until(morning.Add(-time.Minute))
	assert.Empty(t, d.subjects())
	d.until(morning)
	assert.Equal(t, []string{"Urgent: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for"}, d.subjects(), "the other is over")
	d.until(morning.Add(time.Hour))
	require.Len(t, d.subjects(), 2)
	assert.Contains(t, d.text(1), "Ended: Flow 310 l/h, below the 600 l/h the maker asks for – from Wed 14 Jan, 23:10 to Thu 15 Jan, 01:10")
}

// TestHoursFollowTheClockOnTheWall: in Berlin clocks go from 02:00 to 03:00 on
// 29 March 2026 and from 03:00 back to 02:00 on 25 October 2026.
func TestHoursFollowTheClockOnTheWall(t *testing.T) {
	g := ada()
	g.Zone = berlin
	g.Quiet = &notify.QuietHours{From: clock("22:00"), To: clock("06:30"), HoldsUrgent: true}
	check := func(from, want string) {
		t.Helper()
		at, err := time.Parse(time.RFC3339, from)
		require.NoError(t, err)
		assert.Equal(t, want, g.Opens(at, true).In(berlin).Format(time.RFC3339), from)
	}
	check("2026-03-28T21:59:59+01:00", "2026-03-28T21:59:59+01:00")
	check("2026-03-28T22:00:00+01:00", "2026-03-29T06:30:00+02:00") // 7 h 30 min
	check("2026-10-24T22:00:00+02:00", "2026-10-25T06:30:00+01:00") // 9 h 30 min
	check("2026-10-25T06:29:59+01:00", "2026-10-25T06:30:00+01:00")
	g.Quiet = &notify.QuietHours{From: clock("01:00"), To: clock("02:30"), HoldsUrgent: true}
	check("2026-03-29T01:30:00+01:00", "2026-03-29T03:00:00+02:00") // there is no 02:30
	check("2026-10-25T01:30:00+02:00", "2026-10-25T02:30:00+02:00")
	check("2026-10-25T02:10:00+01:00", "2026-10-25T02:30:00+01:00") // the hour comes twice
	g.Quiet = &notify.QuietHours{From: clock("08:00"), To: clock("16:00"), HoldsUrgent: true}
	check("2026-01-14T15:59:00+01:00", "2026-01-14T16:00:00+01:00")
	check("2026-01-14T07:59:00+01:00", "2026-01-14T07:59:00+01:00")
	g.Quiet = nil

	for _, from := range []string{"2026-03-27T12:00:00+01:00", "2026-10-23T12:00:00+02:00"} {
		for _, digest := range []string{"07:30", "02:30"} {
			g.DigestAt = clock(digest)
			at, err := time.Parse(time.RFC3339, from)
			require.NoError(t, err)
			dates := map[string]int{}
			for range 4 {
				at = g.NextDigest(at)
				dates[at.In(berlin).Format(time.DateOnly)]++
			}
			assert.Len(t, dates, 4, "one digest a date: %v", dates)
		}
	}
	g.DigestAt = clock("07:30")
	saturday := time.Date(2026, 3, 28, 7, 30, 0, 0, berlin)
	assert.Equal(t, "2026-03-29T07:30:00+02:00", g.NextDigest(saturday).In(berlin).Format(time.RFC3339))
}

func TestAStartInQuietHoursWaitsForTheirEnd(t *testing.T) {
	d := open(t, ada())
	d.put(curveHigh(d.now))
	d.now = time.Date(2026, 1, 15, 23, 0, 0, 0, london) // nothing ran when the digest was due
	d.restart()
	d.until(time.Date(2026, 1, 16, 6, 29, 0, 0, london))
	assert.Empty(t, d.subjects())
	d.until(time.Date(2026, 1, 16, 6, 30, 0, 0, london))
	assert.Len(t, d.subjects(), 1)
}

func TestWhatWasAcknowledgedOrMutedIsNotToldAgain(t *testing.T) {
	digest := time.Date(2026, 1, 15, 7, 30, 0, 0, london)
	d := open(t, ada())
	e := curveHigh(d.now.Add(-time.Hour))
	d.put(e)
	d.act(store.Acknowledge, "curve_high", time.Time{})
	d.until(digest)
	assert.Empty(t, d.subjects(), "seen before the digest")
	d.put(ended(e, d.now))
	d.until(d.now.Add(48 * time.Hour))
	assert.Empty(t, d.subjects(), "nor its end")

	e = curveHigh(d.now.Add(-time.Hour))
	d.put(e)
	d.act(store.Acknowledge, "curve_high", time.Time{})
	d.now = d.now.Add(time.Hour)
	d.put(raised(e))
	d.step()
	assert.Equal(t, []string{"Now urgent: Mill Cottage: Heating curve 4 K higher than the rooms need"}, d.subjects(), "worse than what was seen")
	d.act(store.Acknowledge, "curve_high", time.Time{})
	d.now = d.now.Add(time.Hour)
	d.put(ended(e, d.now))
	d.until(d.now.Add(48 * time.Hour))
	assert.Len(t, d.subjects(), 1)

	d.act(store.Mute, "low_flow", d.now.Add(24*time.Hour))
	first := lowFlow(d.now)
	d.put(first, raised(first))
	d.until(d.now.Add(23 * time.Hour))
	assert.Len(t, d.subjects(), 1, "muted")
	d.now = d.now.Add(2 * time.Hour)
	d.put(ended(first, d.now))
	d.until(d.now.Add(48 * time.Hour))
	assert.Len(t, d.subjects(), 1, "its beginning was not told")
	d.put(lowFlow(d.now))
	d.step()
	assert.Len(t, d.subjects(), 2, "muted no more")
	d.act(store.Mute, "low_flow", time.Time{})
	d.act(store.Unmute, "low_flow", time.Time{})
	d.now = d.now.Add(7 * time.Hour)
	d.put(lowFlow(d.now))
	d.step()
	assert.Len(t, d.subjects(), 3, "unmuted")
	assert.EqualValues(t, 0, d.Ask("SELECT count(*) FROM notice WHERE message IS NULL AND dropped IS NULL"))
}

func TestNotKnowingWhatWasMutedHoldsNothingBack(t *testing.T) {
	d := open(t, ada())
	d.options.Actions = func(context.Context, string) ([]store.Action, error) { return nil, errors.New("database away") }
	d.restart()
	d.put(lowFlow(d.now))
	d.step()
	assert.Len(t, d.subjects(), 1)
	assert.Contains(t, d.log.String(), "database away")
}

func TestWhatComesAndGoesIsCalledOutOnceAnHour(t *testing.T) {
	d := open(t, ada())
	start := d.now
	for d.now.Before(start.Add(3*time.Hour + time.Minute)) {
		e := lowFlow(d.now)
		d.put(e)
		d.step()
		d.now = d.now.Add(8 * time.Minute)
		d.put(ended(e, d.now))
		d.step()
		d.now = d.now.Add(7 * time.Minute)
	}
	calls := 0
	for _, s := range d.subjects() {
		if strings.HasPrefix(s, "Urgent:") {
			calls++
		}
	}
	assert.Equal(t, 4, calls, "at 10, 11, 12 and 13 o'clock: %v", d.subjects())
	assert.Len(t, d.subjects(), 8, "each with its end")
	d.until(time.Date(2026, 1, 15, 7, 30, 0, 0, london))
	require.Len(t, d.subjects(), 9)
	assert.Equal(t, 1, strings.Count(d.text(8), "Flow 310 l/h"), d.text(8))
	assert.Contains(t, d.text(8), "; 9 times since Wed 14 Jan, 10:15")

	d.now = d.now.Add(time.Hour)
	d.put(lowFlow(d.now))
	d.step()
	assert.Len(t, d.subjects(), 10, "more than six hours later it is news again")
}

func TestAFloodOfAttentionIsOneDigest(t *testing.T) {
	d := open(t, ada())
	for i := range 1000 {
		e := at(fmt.Sprintf("house-%02d", i%20), fmt.Sprintf("House %02d", i%20), curveHigh(d.now))
		e.Kind = fmt.Sprintf("room_cold/room-%03d", i)
		d.put(e)
		d.now = d.now.Add(time.Second)
	}
	d.until(d.now.Add(48 * time.Hour))
	require.Equal(t, []string{"Digest: 20 sites: 1000 open findings"}, d.subjects())
	assert.Contains(t, d.text(0), "House 19: 50 more")
	assert.Less(t, len(d.mail.Letters()[0].Raw), 100_000, "mail programs cut longer ones")
	assert.EqualValues(t, 1000, d.Ask("SELECT count(*) FROM notice WHERE message IS NOT NULL"))
}

func TestAFloodOfUrgentIsGathered(t *testing.T) {
	d := open(t, ada())
	for i := range 100 {
		d.put(at(fmt.Sprintf("house-%02d", i), fmt.Sprintf("House %02d", i), lowFlow(d.now)))
		d.step()
		d.now = d.now.Add(time.Second)
	}
	assert.Len(t, d.subjects(), 6)
	d.until(d.now.Add(time.Hour))
	require.Len(t, d.subjects(), 7)
	assert.Equal(t, "Urgent: 94 sites: 94 open findings", d.subjects()[6])
}

func TestWhatWasNothingIsWithdrawn(t *testing.T) {
	d := open(t, ada())
	d.put(lowFlow(d.now))
	d.step()
	d.put(ended(lowFlow(d.now), d.now))
	d.step()
	require.Len(t, d.subjects(), 2)
	assert.Equal(t, "Withdrawn: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for", d.subjects()[1])
	assert.Contains(t, d.text(1), "later readings show that there was nothing, Wed 14 Jan, 10:00")
}

func TestHistoryIsNotTold(t *testing.T) {
	d := open(t, ada())
	long := d.now.Add(-60 * 24 * time.Hour)
	d.put(ended(lowFlow(long), long.Add(time.Hour)))
	old := curveHigh(long)
	old.Until = long.Add(time.Hour)
	d.put(old)
	d.until(d.now.Add(48 * time.Hour))
	assert.Empty(t, d.subjects())
}

func TestImpossibleEventsAreRefused(t *testing.T) {
	d := open(t, ada())
	check := func(want string, change func(*notify.Event)) {
		t.Helper()
		e := lowFlow(d.now)
		change(&e)
		assert.ErrorContains(t, d.Put(t.Context(), curveHigh(d.now), e), want)
	}
	check("need a name", func(e *notify.Event) { e.Kind = "" })
	check("needs its beginning", func(e *notify.Event) { e.Since = time.Time{} })
	check("needs its title", func(e *notify.Event) { e.Title = "" })
	check(`severity "bad"`, func(e *notify.Event) { e.Severity = "bad" })
	check(`what "gone"`, func(e *notify.Event) { e.What = "gone" })
	check("needs its end", func(e *notify.Event) { e.What = notify.Ended })
	assert.EqualValues(t, 0, d.Ask("SELECT count(*) FROM event"), "all or nothing")
}
