package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/curve"
	"coldweek/analysis/cycling"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// curved makes a case of which the heating curve is known.
func curved(k watch.Curve) *made {
	m := makeCase(watch.Limits{Plant: cycling.Plant{Curve: []cycling.CurvePoint{{OutdoorC: -10, FlowC: 45}, {OutdoorC: 15, FlowC: 25}}}})
	m.next(96, outdoor(0))
	k.From, k.To = begin.AddDate(0, 0, -7), begin
	m.Curves = []*watch.Curve{&k}
	return m
}

func lower(value, low, high float64) curve.Advice {
	return curve.Advice{Kind: curve.Lower, Steps: []string{"Lower the whole curve by 2.0 K."},
		Lowest: &curve.Lowest{MarginK: robust.Estimate{Value: value, Low: low, High: high}}}
}

func TestCurveHigherThanTheRoomsNeed(t *testing.T) {
	usable := &curve.Fit{Verdict: curve.Usable}
	found := curved(watch.Curve{Fit: usable, Advice: lower(4.2, 2, 6)}).found("curve_high")
	require.Len(t, found, 1)
	assert.Equal(t, watch.Info, found[0].Severity)
	assert.Equal(t, begin.AddDate(0, 0, -7), found[0].Since)
	assert.Equal(t, "The heating curve is 4.2 K higher than the rooms need", found[0].Title)
	assert.Equal(t, "Lower the whole curve by 2.0 K.", found[0].Next[0])
	assert.Contains(t, found[0].Caution, "hot water")

	found = curved(watch.Curve{Fit: usable, Advice: lower(7, 5, 9)}).found("curve_high")
	require.Len(t, found, 1)
	assert.Equal(t, watch.Attention, found[0].Severity)

	found = curved(watch.Curve{Fit: usable, Advice: curve.Advice{Kind: curve.Keep}, GapAtDesignK: new(7.9), SpareK: new(0.3)}).found("curve_high")
	require.Len(t, found, 1)
	assert.Equal(t, "The flow runs 7.9 K above the curve that was set, and the rooms are warm", found[0].Title)
}

func TestCurveHighOutlastsADayThatSaysOtherwise(t *testing.T) {
	usable := &curve.Fit{Verdict: curve.Usable}
	m := curved(watch.Curve{Fit: usable, Advice: lower(4.2, 2, 6)})
	m.Curves = append(m.Curves, &watch.Curve{From: begin.AddDate(0, 0, -6), To: begin.AddDate(0, 0, 1), Fit: usable, Advice: lower(5.5, 3, 8)},
		&watch.Curve{From: begin.AddDate(0, 0, -5), To: begin.AddDate(0, 0, 2), Fit: &curve.Fit{Verdict: curve.NoCurve}})
	found := m.found("curve_high")
	require.Len(t, found, 1)
	assert.Equal(t, begin.AddDate(0, 0, -7), found[0].Since)
	assert.Contains(t, found[0].Title, "5.5 K")
}

func TestCurveNotTooHighOrNotKnown(t *testing.T) {
	usable := &curve.Fit{Verdict: curve.Usable}
	for name, m := range map[string]*made{
		"too little heating":             makeCase(watch.Limits{}).next(96, outdoor(18)),
		"no curve to be had":             curved(watch.Curve{Fit: &curve.Fit{Verdict: curve.NotKnown}}),
		"a little above":                 curved(watch.Curve{Fit: usable, Advice: lower(2, 1.5, 2.5)}),
		"in doubt":                       curved(watch.Curve{Fit: usable, Advice: lower(4, -1, 9)}),
		"above the set one, rooms cold":  curved(watch.Curve{Fit: usable, GapAtDesignK: new(6.0), SpareK: new(-1.0)}),
		"above the set one, rooms dark":  curved(watch.Curve{Fit: usable, GapAtDesignK: new(6.0)}),
		"below the set one, rooms warm":  curved(watch.Curve{Fit: usable, GapAtDesignK: new(-6.0), SpareK: new(0.4)}),
		"advice to keep, though set low": curved(watch.Curve{Fit: usable, Advice: curve.Advice{Kind: curve.Keep}, SpareK: new(0.4)}),
	} {
		assert.Empty(t, m.found("curve_high"), name)
		assert.Empty(t, m.found("curve_not_followed"), name)
	}
}

// flows adds the days before the case, with an hour of steady heating each hour at
// what of makes of the outdoor temperature.
func (m *made) flows(of func(outdoorC float64) float64) *made {
	for k := range 7 {
		from := begin.AddDate(0, 0, k-7)
		d := siteday.Day{From: from, To: from.AddDate(0, 0, 1)}
		for h := range 24 {
			outdoorC := float64(k) - 3 + float64(h%12)/4
			d.Sums.Hours = append(d.Sums.Hours, siteday.Hour{From: from.Add(time.Duration(h) * time.Hour), S: 3600, Steady: siteday.SteadyHour{
				S: 3000, Outdoor: siteday.Mean{ValueS: outdoorC * 3000, S: 3000}, Flow: siteday.Mean{ValueS: of(outdoorC) * 3000, S: 3000}}})
		}
		m.Days = append(m.Days, d)
	}
	return m
}

func TestFlowThatNoWeatherMoves(t *testing.T) {
	none := watch.Curve{Fit: &curve.Fit{Verdict: curve.NoCurve}}
	m := curved(none).flows(func(float64) float64 { return 45 })
	found := m.found("curve_not_followed")
	require.Len(t, found, 1)
	assert.Equal(t, "The flow stays at 45 °C whatever the weather; the set curve moves by 5 K", found[0].Title)

	m.Limits.Plant.Curve = nil
	assert.Empty(t, m.found("curve_not_followed"), "no curve was set")
	assert.Empty(t, curved(none).flows(func(c float64) float64 { return 50 - c }).found("curve_not_followed"), "it moves")
	assert.Empty(t, curved(none).flows(func(c float64) float64 { return 35 }).found("curve_not_followed"), "it is as warm as the curve asks for")
	m = curved(none).flows(func(float64) float64 { return 42 })
	m.Limits.MaximumFlowC = new(30.0)
	assert.Empty(t, m.found("curve_not_followed"), "the curve ends below")
}

func TestFlowAboveItsTarget(t *testing.T) {
	m := makeCase(watch.Limits{}).next(10, outdoor(2), heating(36, 35)).next(3.5, outdoor(2), heating(46, 35))
	found := m.found("curve_not_followed")
	require.Len(t, found, 1)
	assert.Equal(t, after(10), found[0].Since)
	assert.Equal(t, "Flow of 46 °C stays 11 K above its target", found[0].Title)
	m.next(1.5, outdoor(2), heating(36, 35))
	assert.Equal(t, after(13.5), m.found("curve_not_followed")[0].Until)
	assert.Empty(t, makeCase(watch.Limits{}).next(40, outdoor(2), heating(39.5, 35)).found("curve_not_followed"), "within the hysteresis")
}
