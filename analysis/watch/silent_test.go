package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// spoken makes a case of readings every so many minutes at the given hours, two
// bounds for each span.
func spoken(l watch.Limits, until float64, heard map[ingest.Channel][]float64, every time.Duration) *made {
	m := makeCase(l)
	m.Newest, m.Began = map[ingest.Channel]time.Time{}, map[ingest.Channel]time.Time{}
	var columns []ingest.Column
	for ch, hours := range heard {
		c := ingest.Column{Channel: ch}
		for i := 0; i < len(hours); i += 2 {
			for at := after(hours[i]); at.Before(after(hours[i+1])); at = at.Add(every) {
				c.UnixMS = append(c.UnixMS, at.UnixMilli())
				c.Value = append(c.Value, 20)
			}
		}
		m.Began[ch], m.Newest[ch] = time.UnixMilli(c.UnixMS[0]).UTC(), time.UnixMilli(c.UnixMS[c.Len()-1]).UTC()
		columns = append(columns, c)
	}
	m.next(until, outdoor(-3))
	for from := begin; from.Before(m.Now); from = from.Add(24 * time.Hour) {
		m.Voices = append(m.Voices, watch.Hear(columns, from, from.Add(24*time.Hour))...)
	}
	return m
}

func TestSilentSite(t *testing.T) {
	m := spoken(watch.Limits{}, 26.1, map[ingest.Channel][]float64{"flow_temp": {-3, 25}, "power": {0, 25}}, time.Minute)
	found := m.found("silent")
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, "silent", f.Kind)
	assert.Equal(t, watch.Attention, f.Severity)
	assert.Equal(t, after(25).Add(-time.Minute), f.Since)
	assert.False(t, f.Ended())
	assert.Contains(t, f.Caution, "freez", "it was cold when it stopped")

	assert.Empty(t, spoken(watch.Limits{}, 25.9, map[ingest.Channel][]float64{"flow_temp": {-3, 25}}, time.Minute).found("silent"))
}

func TestSilentSiteThatSpokeAgain(t *testing.T) {
	m := spoken(watch.Limits{}, 48, map[ingest.Channel][]float64{"flow_temp": {0, 20, 27, 48}, "power": {0, 20, 27, 48}}, time.Minute)
	found := m.found("silent")
	require.Len(t, found, 1)
	assert.Equal(t, after(20).Add(-time.Minute), found[0].Since)
	assert.Equal(t, after(27), found[0].Until, "midnight does not part it")
}

func TestSilentSiteBeforeTheWindow(t *testing.T) {
	m := makeCase(watch.Limits{})
	m.Now = after(24 * 9)
	m.Began = map[ingest.Channel]time.Time{"power": after(-500)}
	m.Newest = map[ingest.Channel]time.Time{"power": after(1)}
	found := m.found("silent")
	require.Len(t, found, 1)
	assert.Equal(t, after(1), found[0].Since)
	assert.Equal(t, "No readings for 9 days", found[0].Title)
}

func TestSilentChannelWhileOthersGoOn(t *testing.T) {
	m := spoken(watch.Limits{}, 20, map[ingest.Channel][]float64{"flow_temp": {0, 20}, "flow_rate": {0, 17}, "return_temp": {0, 17}, "room_temp/bath": {0, 12}}, time.Minute)
	found := m.found("silent")
	require.Len(t, found, 2)
	assert.Equal(t, "silent/room_temp/bath", found[0].Kind)
	assert.Equal(t, watch.Info, found[0].Severity)
	assert.Equal(t, "silent/flow_rate", found[1].Kind)
	assert.Equal(t, watch.Attention, found[1].Severity, "heat is not known without it")
	assert.Contains(t, found[1].Title, "flow_rate, return_temp", "they fell silent together")
}

func TestSilenceOfTheSiteIsNotToldForItsChannels(t *testing.T) {
	m := spoken(watch.Limits{}, 30, map[ingest.Channel][]float64{"flow_temp": {0, 10}, "power": {0, 9.5}, "room_temp/bath": {0, 10}}, time.Minute)
	found := m.found("silent")
	require.Len(t, found, 1)
	assert.Equal(t, "silent", found[0].Kind)
}

func TestSilenceThatIsUsual(t *testing.T) {
	onChange := ingest.Channel("room_temp/bath")
	heard := map[ingest.Channel][]float64{"power": {0, 96}, onChange: {}}
	for h := 0.0; h < 60; h += 5 {
		heard[onChange] = append(heard[onChange], h, h+0.1)
	}
	assert.Empty(t, spoken(watch.Limits{}, 64, heard, time.Minute).found("silent"), "it is silent for hours on every day")

	heard = map[ingest.Channel][]float64{"power": {0, 30}, onChange: {0, 20}}
	assert.Len(t, spoken(watch.Limits{}, 30, heard, time.Minute).found("silent"), 1)
	l := watch.Limits{MaxGap: map[ingest.Channel]time.Duration{onChange: 8 * time.Hour}}
	assert.Empty(t, spoken(l, 30, heard, time.Minute).found("silent"), "the record lets it be silent")

	heard = map[ingest.Channel][]float64{onChange: {0, 20}}
	assert.Len(t, spoken(watch.Limits{}, 23, heard, time.Minute).found("silent"), 1)
	assert.Empty(t, spoken(l, 23, heard, time.Minute).found("silent"), "nothing but what is published on change")

	slow := map[ingest.Channel][]float64{"power": {0, 90}, "room_temp/bath": {0, 90}}
	assert.Empty(t, spoken(watch.Limits{}, 90, slow, 3*time.Hour).found("silent"), "a site that reports every three hours")
}

func TestSilentNeverWasThere(t *testing.T) {
	m := spoken(watch.Limits{}, 40, map[ingest.Channel][]float64{"power": {0, 40}, "pressure": {30, 40}}, time.Minute)
	assert.Empty(t, m.found("silent"), "a sensor that came later was not silent before")
	assert.Empty(t, makeCase(watch.Limits{}).next(40).found("silent"), "nothing was ever heard")
}
