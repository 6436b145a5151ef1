package notify_test

import (
	"net/mail"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestWhatWasToldAsOverAndIsNotIsToldAgain: later readings withdraw a finding, and
// yet later ones show that it was there after all.
func TestWhatWasToldAsOverAndIsNotIsToldAgain(t *testing.T) {
	d := open(t, ada())
	since := d.now
	const urgent = "Urgent: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for"
	d.put(lowFlow(since))
	d.step()
	d.put(ended(lowFlow(since), since))
	d.step()
	require.Len(t, d.subjects(), 2)
	for range 2 {
		d.now = d.now.Add(time.Minute)
		d.put(lowFlow(since))
		d.step()
	}
	require.Len(t, d.subjects(), 3, "once more, and once")
	assert.Equal(t, urgent, d.subjects()[2])
	assert.Contains(t, d.text(2), "since Wed 14 Jan, 10:00; it was told as over, and is not")
	known, err := d.Known(t.Context(), "mill-cottage")
	require.NoError(t, err)
	require.Len(t, known, 1)
	assert.False(t, known[0].Ended)

	d.now = d.now.Add(10 * time.Minute)
	called := since.Add(time.Minute)
	d.put(ended(lowFlow(since), d.now))
	d.step()
	require.Len(t, d.subjects(), 4)
	assert.Equal(t, "Ended: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for", d.subjects()[3])
	d.put(lowFlow(since))
	d.until(called.Add(time.Hour - time.Second))
	assert.Len(t, d.subjects(), 4, "what comes and goes waits an hour")
	d.until(called.Add(time.Hour))
	require.Len(t, d.subjects(), 5, "and is told when it is still there")
	assert.Equal(t, urgent, d.subjects()[4])

	bea := ada()
	bea.Name, bea.EMail = "Bea", &mail.Address{Address: "bea@firm.example"}
	d.options.Engineers = append(d.options.Engineers, bea)
	d.restart()
	d.serve(d.sent(6))
	assert.NotContains(t, d.text(5), "told as over", "Bea was told nothing")
	d.now = d.now.Add(200 * 24 * time.Hour)
	d.step()
	assert.EqualValues(t, 5, d.Ask("SELECT count(*) FROM event"), "what is open is not forgotten")
}

func TestWhatCameBackBeforeItsEndWasToldOpens(t *testing.T) {
	d := open(t, ada())
	d.put(lowFlow(d.now), ended(lowFlow(d.now), d.now))
	d.step()
	assert.Empty(t, d.subjects())
	d.put(lowFlow(d.now))
	d.step()
	require.Len(t, d.subjects(), 1)
	assert.NotContains(t, d.text(0), "told as over")
}

// TestADigestShowsTheOneThatIsOpen of two of a kind, whichever began last.
func TestADigestShowsTheOneThatIsOpen(t *testing.T) {
	d := open(t, ada())
	first, earlier := curveHigh(d.now), curveHigh(d.now.Add(-time.Hour))
	d.put(first)
	d.until(time.Date(2026, 1, 15, 7, 30, 0, 0, london))
	require.Len(t, d.subjects(), 1)
	d.put(earlier, ended(first, first.Since))
	d.until(time.Date(2026, 1, 16, 7, 30, 0, 0, london))
	require.Len(t, d.subjects(), 2)
	assert.Contains(t, d.text(1), "1 open finding")
	assert.Contains(t, d.text(1), "since Wed 14 Jan, 09:00")
}
