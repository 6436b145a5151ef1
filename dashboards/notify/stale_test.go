package notify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/ingest/store"
)

var nextDigest = time.Date(2026, 1, 15, 7, 30, 0, 0, london)

// milder is the finding while it only asked for attention.
func milder(e notify.Event) notify.Event {
	e.Severity = store.Attention
	return e
}

// TestADigestDoesNotTellWhatIsOutdated: what waits for the digest is overtaken by
// what is told at once.
func TestADigestDoesNotTellWhatIsOutdated(t *testing.T) {
	t.Run("it ended, and is back and urgent", func(t *testing.T) {
		d := open(t, ada())
		since := d.now
		d.put(milder(lowFlow(since)))
		d.put(ended(milder(lowFlow(since)), since.Add(time.Minute)))
		d.now = d.now.Add(time.Hour)
		d.put(lowFlow(since))
		d.step()
		require.Len(t, d.subjects(), 1)
		assert.NotContains(t, d.text(0), "told as over", "nothing was told before")
		d.until(nextDigest)
		assert.Len(t, d.subjects(), 1, "neither its first beginning nor that end")
	})
	t.Run("it is urgent now", func(t *testing.T) {
		d := open(t, ada())
		d.put(milder(lowFlow(d.now)))
		d.put(raised(lowFlow(d.now)))
		d.step()
		require.Len(t, d.subjects(), 1)
		assert.Equal(t, "Now urgent: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for", d.subjects()[0])
		d.until(nextDigest)
		assert.Len(t, d.subjects(), 1, "its beginning was told with it")
	})
}

// TestAnEndThatDidNotHoldIsNotTold: it waits for the digest still when the finding
// is back.
func TestAnEndThatDidNotHoldIsNotTold(t *testing.T) {
	told := func(t *testing.T) (*desk, time.Time) {
		d := open(t, ada())
		since := d.now
		d.put(milder(lowFlow(since)))
		d.until(nextDigest)
		require.Len(t, d.subjects(), 1)
		d.put(ended(milder(lowFlow(since)), d.now))
		d.step()
		require.Len(t, d.subjects(), 1)
		return d, since
	}
	t.Run("and as it was", func(t *testing.T) {
		d, since := told(t)
		d.put(milder(lowFlow(since)))
		pending, err := d.Pending(t.Context())
		require.NoError(t, err)
		assert.Empty(t, pending, "the end waits no more, and that it is back is no news")
		d.until(nextDigest.AddDate(0, 0, 1))
		assert.Len(t, d.subjects(), 1, "Ada thinks that it is open, and it is")
		d.put(ended(milder(lowFlow(since)), d.now))
		d.until(nextDigest.AddDate(0, 0, 2))
		require.Len(t, d.subjects(), 2, "it is over at last")
		assert.Contains(t, d.text(1), "1 ended")
	})
	t.Run("and urgent", func(t *testing.T) {
		d, since := told(t)
		d.put(lowFlow(since))
		d.step()
		require.Len(t, d.subjects(), 2)
		assert.Equal(t, "Now urgent: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for", d.subjects()[1])
		assert.NotContains(t, d.text(1), "told as over")
		d.until(nextDigest.AddDate(0, 0, 1))
		assert.Len(t, d.subjects(), 2)
		d.put(ended(lowFlow(since), d.now))
		d.step()
		require.Len(t, d.subjects(), 3)
		assert.Equal(t, "Ended: Mill Cottage: Flow 310 l/h, below the 600 l/h the maker asks for", d.subjects()[2])
	})
}
