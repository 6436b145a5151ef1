package notify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
)

// TestTalliesSayHowTellingGoes: a mail server goes away and comes back, one letter
// waits for the digest, and one way is never used.
func TestTalliesSayHowTellingGoes(t *testing.T) {
	g := ada()
	g.Topic = "coldweek-findings"
	d := open(t, g)
	mail := func() notify.Tally {
		t.Helper()
		tallies, err := d.Tallies(t.Context())
		require.NoError(t, err)
		require.Len(t, tallies, 2)
		assert.Equal(t, notify.MQTT, tallies[1].Way)
		return tallies[0]
	}
	assert.Equal(t, notify.Tally{Way: notify.EMail}, mail())

	d.mail.Stop()
	made := d.now
	d.put(lowFlow(d.now), curveHigh(d.now))
	d.step()
	first := mail()
	assert.EqualValues(t, 1, first.Failed)
	assert.EqualValues(t, 1, first.Waiting, "the digest")
	assert.EqualValues(t, 1, first.Stuck)
	assert.True(t, made.Equal(first.OldestStuck), first.OldestStuck)

	d.mail.Resume()
	d.until(d.now.Add(time.Hour))
	later := mail()
	assert.Equal(t, notify.Tally{Way: notify.EMail, Sent: 1, Failed: later.Failed, Waiting: 1}, later)

	d.mail.Stop()
	d.put(at("hill-farm", "Hill Farm", lowFlow(d.now)))
	d.until(d.now.AddDate(0, 0, 6))
	assert.Positive(t, mail().GivenUp)
}
