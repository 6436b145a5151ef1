package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/watch"
)

// pieces makes one piece of five minutes for each letter: b is bad, c is clear,
// anything else says nothing.
func pieces(signs string) []watch.Piece {
	all := make([]watch.Piece, len(signs))
	for i, letter := range signs {
		all[i] = watch.Piece{From: begin.Add(time.Duration(i) * watch.SlotLength), To: begin.Add(time.Duration(i+1) * watch.SlotLength), S: slotS}
		switch letter {
		case 'b':
			all[i].Sign = watch.Bad
		case 'c':
			all[i].Sign = watch.Clear
		}
	}
	return all
}

// TestEpisodes: fifteen bad minutes open, ten clear ones close.
func TestEpisodes(t *testing.T) {
	hold := watch.Hold{OpenS: 900, CloseS: 600}
	slot := func(i int) time.Time { return begin.Add(time.Duration(i) * watch.SlotLength) }
	for _, row := range []struct {
		signs string
		want  []watch.Episode
	}{
		{"", nil},
		{"ccbbcc", nil},
		{"ccbbb", []watch.Episode{{Since: slot(2), First: 2, Last: 5}}},
		{"b..b..b", []watch.Episode{{Since: slot(0), First: 0, Last: 7}}}, // what is not known changes nothing
		{"bbcbbb", []watch.Episode{{Since: slot(0), First: 0, Last: 6}}},
		{"bbccbb", nil},
		{"bbbc", []watch.Episode{{Since: slot(0), First: 0, Last: 3}}},
		{"bbbcc", []watch.Episode{{Since: slot(0), Until: slot(3), First: 0, Last: 3}}},
		{"bbb....cc", []watch.Episode{{Since: slot(0), Until: slot(3), First: 0, Last: 3}}},
		{"bbbcbccbbb", []watch.Episode{{Since: slot(0), Until: slot(5), First: 0, Last: 5}, {Since: slot(7), First: 7, Last: 10}}},
	} {
		assert.Equal(t, row.want, hold.Episodes(pieces(row.signs)), row.signs)
	}
}

// TestEpisodesOfAPrefix: more data neither moves the beginning of an episode nor
// takes one back.
func TestEpisodesOfAPrefix(t *testing.T) {
	hold := watch.Hold{OpenS: 900, CloseS: 600}
	all := pieces("ccbcbb.bbccb.cc.bbbbcbcccbbb")
	whole := hold.Episodes(all)
	require.Len(t, whole, 3)
	seen := map[time.Time]bool{}
	for n := range len(all) + 1 {
		for _, e := range hold.Episodes(all[:n]) {
			seen[e.Since] = true
		}
	}
	assert.Len(t, seen, len(whole))
	for _, e := range whole {
		assert.True(t, seen[e.Since])
	}
}

// looked is a case whose slots and days begin some days before a time.
func looked(now time.Time) *watch.Case {
	c := &watch.Case{Now: now}
	for at := now.Add(-96 * time.Hour); at.Before(now); at = at.Add(watch.SlotLength) {
		c.Slots = append(c.Slots, watch.Slot{From: at})
	}
	return c
}

func finding(kind string, since, until time.Time) watch.Finding {
	return watch.Finding{Kind: kind, Severity: watch.Attention, Since: since, Until: until}
}

func TestReconcileKeepsWhoAFindingIs(t *testing.T) {
	now := after(240)
	c := looked(now)
	stored := finding("low_flow", after(200), time.Time{})

	moved := finding("low_flow", after(200.2), time.Time{})
	assert.Empty(t, watch.Reconcile([]watch.Finding{stored}, []watch.Finding{moved}, c), "its beginning moved a little")

	worse := moved
	worse.Severity = watch.Urgent
	changed := watch.Reconcile([]watch.Finding{stored}, []watch.Finding{worse}, c)
	require.Len(t, changed, 1)
	assert.Equal(t, after(200), changed[0].Since)
	assert.Equal(t, watch.Urgent, changed[0].Severity)
	assert.Empty(t, watch.Reconcile(changed, []watch.Finding{moved}, c), "severity does not fall")

	ended := finding("low_flow", after(200), after(210))
	assert.Equal(t, []watch.Finding{ended}, watch.Reconcile([]watch.Finding{stored}, []watch.Finding{ended}, c))

	again := finding("low_flow", after(230), time.Time{})
	changed = watch.Reconcile([]watch.Finding{ended}, []watch.Finding{ended, again}, c)
	assert.Equal(t, []watch.Finding{again}, changed, "long after the end it is another")

	old := finding("low_flow", after(20), time.Time{})
	cut := finding("low_flow", c.SlotsFrom(), time.Time{})
	assert.Empty(t, watch.Reconcile([]watch.Finding{old}, []watch.Finding{cut}, c), "its beginning left the window")
}

func TestReconcileEndsWhatIsNotSeen(t *testing.T) {
	c := looked(after(240))
	changed := watch.Reconcile([]watch.Finding{finding("low_flow", after(200), time.Time{})}, nil, c)
	require.Len(t, changed, 1)
	assert.True(t, changed[0].Withdrawn(), "the rules would have to see it")
	assert.Empty(t, watch.Reconcile(changed, nil, c))

	changed = watch.Reconcile([]watch.Finding{finding("low_flow", after(20), time.Time{})}, nil, c)
	require.Len(t, changed, 1)
	assert.Equal(t, c.SlotsFrom(), changed[0].Until, "it ended while nobody looked")
	assert.Empty(t, watch.Reconcile([]watch.Finding{finding("low_flow", after(20), after(30))}, nil, c), "what is over stays")
}

// TestAStepIsNotOverWhileTheFlowIsLow, though the rules, which learn each day how the
// plant's flow goes with its output, see it no more.
func TestAStepIsNotOverWhileTheFlowIsLow(t *testing.T) {
	stepped := finding("flow_stepped", after(3), time.Time{})
	stepped.Evidence = []watch.Figure{{Name: "flow_rate_lph", Value: 600}, {Name: "flow_rate_before_lph", Value: 1000}}
	stored := []watch.Finding{stepped}
	low := makeCase(record()).next(2, flowing(1000)).next(4, flowing(700))
	assert.Empty(t, watch.Reconcile(stored, nil, &low.Case))
	effect := finding("low_flow", after(5), time.Time{})
	effect.Severity = watch.Urgent
	changed := watch.Reconcile(stored, []watch.Finding{effect}, &low.Case)
	require.Len(t, changed, 1)
	assert.Equal(t, "flow_stepped", changed[0].Kind)
	assert.Equal(t, watch.Urgent, changed[0].Severity)
	swapped := finding("pipes_swapped", after(1), time.Time{})
	assert.Len(t, watch.Reconcile(stored, []watch.Finding{swapped}, &low.Case), 2, "another explains it")

	back := makeCase(record()).next(2, flowing(1000)).next(2, flowing(700)).next(2, flowing(900))
	changed = watch.Reconcile(stored, nil, &back.Case)
	require.Len(t, changed, 1)
	assert.True(t, changed[0].Withdrawn())
}

// TestReconcileTellsCausesOnce: a cause that is older than what the rules look at,
// or over, still explains.
func TestReconcileTellsCausesOnce(t *testing.T) {
	c := looked(after(240))
	swapped := finding("pipes_swapped", after(20), time.Time{})
	cut := finding("pipes_swapped", c.SlotsFrom(), time.Time{})
	effect := finding("short_cycling", after(100), time.Time{})
	assert.Empty(t, watch.Reconcile([]watch.Finding{swapped}, []watch.Finding{cut, effect}, c))
	over := finding("pipes_swapped", after(20), after(110))
	assert.Empty(t, watch.Reconcile([]watch.Finding{over}, []watch.Finding{effect}, c))
	later := finding("short_cycling", after(130), time.Time{})
	assert.Equal(t, []watch.Finding{later}, watch.Reconcile([]watch.Finding{over}, []watch.Finding{later}, c))

	low := finding("low_flow", after(200), time.Time{})
	stepped := finding("flow_stepped", after(200), time.Time{})
	changed := watch.Reconcile([]watch.Finding{low}, []watch.Finding{stepped, low}, c)
	require.Len(t, changed, 2, "the step takes over")
	assert.Equal(t, "flow_stepped", changed[0].Kind)
	assert.True(t, changed[1].Withdrawn())
}
