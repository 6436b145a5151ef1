package notify_test

import (
	"context"
	"net/mail"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/ingest/store"
)

// serve runs the notifier until the function is content, and once more.
func (d *desk) serve(content func() bool) {
	d.t.Helper()
	ctx, stop := context.WithCancel(d.t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- d.Run(ctx) }()
	assert.Eventually(d.t, content, 20*time.Second, 5*time.Millisecond)
	stop()
	require.NoError(d.t, <-stopped)
	d.step()
}

// sent says whether so many letters went out.
func (d *desk) sent(letters int) func() bool {
	return func() bool { return len(d.mail.Letters()) >= letters }
}

// TestAnEngineerAddedLaterHearsOfWhatIsOpen: in one digest, at once, without what
// is over, muted or not theirs.
func TestAnEngineerAddedLaterHearsOfWhatIsOpen(t *testing.T) {
	d := open(t, ada())
	over := at("moor-farm", "Moor Farm", lowFlow(d.now))
	cold := curveHigh(d.now)
	cold.Kind = "room_cold/attic"
	d.put(lowFlow(d.now), over, ended(over, d.now.Add(time.Minute)), curveHigh(d.now), cold)
	d.act(store.Mute, "room_cold/attic", time.Time{})
	d.until(d.now.Add(time.Hour))
	before := len(d.subjects())

	bea, cy := ada(), ada()
	bea.Name, bea.EMail = "Bea", &mail.Address{Address: "bea@firm.example"}
	cy.Name, cy.EMail, cy.Sites = "Cy", &mail.Address{Address: "cy@firm.example"}, []string{"moor-farm"}
	d.options.Engineers = []notify.Engineer{ada(), bea, cy}
	for range 3 {
		d.restart()
		d.serve(d.sent(before + 1))
	}
	letters := d.mail.Letters()
	require.Len(t, letters, before+1, "once, and to nobody else")
	assert.Equal(t, []string{"bea@firm.example"}, letters[before].To)
	assert.Equal(t, "Digest: Mill Cottage: 2 open findings", d.subjects()[before])
	assert.NotContains(t, d.text(before), "attic")
}

// TestQuietHoursHoldForTheFirstContactToo: it is no call.
func TestQuietHoursHoldForTheFirstContactToo(t *testing.T) {
	d := open(t)
	d.put(lowFlow(d.now))
	d.now = time.Date(2026, 1, 14, 23, 0, 0, 0, london)
	d.options.Engineers = []notify.Engineer{ada()}
	d.restart()
	d.serve(func() bool { return d.Ask("SELECT count(*) FROM notice") == 1 })
	assert.Empty(t, d.subjects())
	d.until(time.Date(2026, 1, 15, 6, 30, 0, 0, london))
	assert.Len(t, d.subjects(), 1)
}

// TestAStartTriesAnewWhatFoundItsWayClosed, since that may be why it was started.
func TestAStartTriesAnewWhatFoundItsWayClosed(t *testing.T) {
	d := open(t, ada())
	d.mail.Stop()
	d.put(lowFlow(d.now))
	d.until(d.now.Add(2 * time.Hour)) // the pauses are half an hour by now
	d.mail.Resume()
	d.restart()
	d.serve(d.sent(1))
	assert.Len(t, d.subjects(), 1)
}

func TestKnownIsWhatAllEventsSay(t *testing.T) {
	d := open(t, ada())
	known, err := d.Known(t.Context(), "mill-cottage")
	require.NoError(t, err)
	assert.Empty(t, known)
	d.put(curveHigh(d.now), lowFlow(d.now.Add(time.Hour)), raised(curveHigh(d.now)), at("moor-farm", "", lowFlow(d.now)))
	d.put(ended(lowFlow(d.now.Add(time.Hour)), d.now.Add(2*time.Hour)))
	known, err = d.Known(t.Context(), "mill-cottage")
	require.NoError(t, err)
	require.Len(t, known, 2)
	assert.Equal(t, []any{"curve_high", store.Urgent, false}, []any{known[0].Kind, known[0].Severity, known[0].Ended})
	assert.Equal(t, []any{"low_flow", store.Urgent, true}, []any{known[1].Kind, known[1].Severity, known[1].Ended})
	assert.True(t, known[0].Since.Equal(d.now))
}

// TestLettersNameTheCommands by which what they tell of is acknowledged and muted.
func TestLettersNameTheCommands(t *testing.T) {
	d := open(t, ada())
	cold := curveHigh(d.now)
	cold.Kind = "room_cold/it's the attic"
	d.put(lowFlow(d.now), cold)
	d.until(d.now.Add(24 * time.Hour))
	for _, line := range []string{
		"coldweek ack mill-cottage low_flow --home /var/lib/coldweek\n", "coldweek mute mill-cottage low_flow --for 14d --home /var/lib/coldweek\n",
	} {
		assert.Contains(t, d.text(0), line)
	}
	assert.Contains(t, d.text(1), `coldweek ack mill-cottage 'room_cold/it'\''s the attic' --home /var/lib/coldweek`+"\n")
	assert.Contains(t, d.text(1), `coldweek mute mill-cottage 'room_cold/it'\''s the attic' --for 14d --home /var/lib/coldweek`+"\n")
	assert.Regexp(t, "coldweek ack mill-cottage low_flow <span[^>]*>--home</span> /var/lib/coldweek<", d.html(0))
	assert.Contains(t, d.text(0), "nobody is told of it again:")
}

// TestWhatIsWithdrawnBeforeItIsToldIsNotTold, neither that it was nor that it was not.
func TestWhatIsWithdrawnBeforeItIsToldIsNotTold(t *testing.T) {
	d := open(t, ada())
	d.put(curveHigh(d.now), lowFlow(d.now))
	d.step()
	require.Len(t, d.subjects(), 1, "the urgent one")
	d.put(ended(curveHigh(d.now), d.now), ended(lowFlow(d.now), d.now))
	d.until(d.now.Add(48 * time.Hour))
	require.Len(t, d.subjects(), 2)
	assert.Contains(t, d.subjects()[1], "Withdrawn: Mill Cottage: Flow 310 l/h")
}
