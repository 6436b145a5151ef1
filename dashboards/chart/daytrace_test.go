package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	minute = time.Minute
	hour   = time.Hour
)

func februaryDay(t testing.TB) time.Time {
	return time.Date(2026, 2, 3, 0, 0, 0, 0, zone(t, "Europe/Berlin"))
}

func draw(d interface{ Draw(Canvas) }) *recorder {
	r := &recorder{}
	d.Draw(r)
	return r
}

func TestADayHasItsPanelsAxisAndStates(t *testing.T) {
	said := draw(plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620})).said()
	for _, want := range []string{
		"Temperature", "°C", "Heat and electricity", "kW", "Flow rate", "l/h",
		"Off", "Circulating", "Heating", "Hot water", "Defrost", "Backup heater",
		"00:00", "12:00", "Tuesday 3 February 2026", "Minimum\u00a0900\u00a0l/h",
	} {
		assert.Contains(t, said, want)
	}
	assert.NotContains(t, said, "No data")
}

func TestLinesAreNamedWhereTheyEnd(t *testing.T) {
	d := plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620})
	r := draw(d)
	l := d.layout()
	for i, name := range []string{"Living room", "Outdoor"} {
		at := slices.IndexFunc(r.texts, func(s setText) bool { return strings.HasPrefix(s.text, name) })
		require.GreaterOrEqual(t, at, 0)
		label := r.texts[at]
		assert.Greater(t, label.box.X, l.clock.right)
		series := d.Series[4+i]
		last := series.Value[len(series.Value)-1]
		assert.InDelta(t, l.panels[0].scale.y(last), label.box.Y+label.box.H/2, 2, name)
		assert.Contains(t, label.text, number(last, 1)+"\u00a0°C")
	}
}

// variants are the charts for which layout must hold.
func variants(t *testing.T) map[string]DayTrace {
	t.Helper()
	all := map[string]DayTrace{}
	london, day := zone(t, "Europe/London"), 24*hour
	starts := map[string]time.Time{
		"plain":  time.Date(2026, 2, 3, 0, 0, 0, 0, london),
		"back":   time.Date(2026, 10, 25, 0, 0, 0, 0, london),
		"odd":    time.Date(2026, 10, 24, 22, 7, 0, 0, london),
		"spring": time.Date(2026, 3, 29, 0, 0, 0, 0, zone(t, "Europe/Berlin")),
		"isle":   time.Date(2026, 4, 5, 0, 0, 0, 0, zone(t, "Australia/Lord_Howe")),
	}
	for name, start := range starts {
		for _, last := range []time.Duration{10 * minute, hour, 25 * hour, 3 * day, 9 * day, 35 * day, 120 * day} {
			step := max(10*time.Second, last/400)
			whole := plantTrace(start, last, step, Size{})
			for _, width := range []float64{320, 380, 600, 960, 1200} {
				d := whole
				d.Size = Size{width, 560}
				all[fmt.Sprintf("%s %v %v", name, last, width)] = d
				holed := d.without(start.Add(last/3), start.Add(last/2))
				all[fmt.Sprintf("%s %v %v holed", name, last, width)] = holed
				now := d.without(start.Add(last/4), start.Add(last))
				now.NowMS = start.Add(last / 4).UnixMilli()
				all[fmt.Sprintf("%s %v %v today", name, last, width)] = now
			}
		}
	}
	many := plantTrace(starts["plain"], 24*hour, 5*minute, Size{380, 300})
	for i := range 20 {
		room := many.Series[4]
		room.Name = fmt.Sprintf("The very long room name number %d", i)
		many.Series = append(many.Series, room)
	}
	all["many rooms"] = many
	many.Size = Size{1, 1}
	all["no room at all"] = many
	none := plantTrace(starts["plain"], 24*hour, 5*minute, Size{380, 420})
	all["empty"] = none.without(starts["plain"], starts["plain"].Add(24*hour))
	none.Series, none.Spans = nil, nil
	all["nothing"] = none
	none.ToMS = none.FromMS
	all["no time"] = none
	return all
}

// leastText is the size of the smallest letters, legible on a phone at arm's
// length; a picture for one is shown at its own size.
const leastText = 11

func TestLayoutHoldsForAllRangesAndWidths(t *testing.T) {
	for name, d := range variants(t) {
		size, r := d.layout().size, draw(d)
		checkTexts(t, name, r.texts, size)
		for _, l := range append(r.lines, r.areas...) {
			for _, p := range l.points {
				if !(p.X >= -1 && p.Y >= -1 && p.X <= size.Width+1 && p.Y <= size.Height+1) {
					t.Fatalf("%s: %v is not in the picture", name, p)
				}
			}
		}
		for _, f := range r.rects {
			require.True(t, f.box.W >= 0 && f.box.H >= 0 && f.box.X >= -1 && f.box.Right() <= size.Width+1, "%s: %v", name, f)
		}
	}
}

// checkTexts fails if letters lie on each other, leave the picture or are too
// small.
func checkTexts(t *testing.T, name string, texts []setText, size Size) {
	t.Helper()
	const touch = 0.5
	for i, a := range texts {
		b := a.box
		require.GreaterOrEqual(t, a.style.Size, float64(leastText), "%s: %q", name, a.text)
		require.True(t, b.X >= -touch && b.Y >= -touch && b.Right() <= size.Width+touch && b.Bottom() <= size.Height+touch,
			"%s: %q at %v leaves %v", name, a.text, b, size)
		for _, other := range texts[:i] {
			o := other.box
			if b.X < o.Right()-touch && o.X < b.Right()-touch && b.Y < o.Bottom()-touch && o.Y < b.Bottom()-touch {
				t.Fatalf("%s: %q %v lies on %q %v", name, a.text, b, other.text, o)
			}
		}
	}
}

func TestPhonesKeepMostOfTheWidthForData(t *testing.T) {
	l := plantTrace(februaryDay(t), 24*hour, minute, Size{380, 600}).layout()
	assert.Greater(t, l.clock.right-l.clock.left, 0.6*380)
	assert.Less(t, len(l.clock.ticks(tickStyle)), 6)
}

func TestNoLineCrossesAGap(t *testing.T) {
	from := februaryDay(t)
	d := plantTrace(from, 24*hour, minute, Size{1100, 620}).without(from.Add(10*hour), from.Add(11*hour))
	r, l := draw(d), d.layout()
	left, right := l.clock.xAt(from.Add(10*hour+4*minute)), l.clock.xAt(from.Add(11*hour-minute))
	for _, s := range d.Series {
		lines := r.of(s.Role)
		require.NotEmpty(t, lines, s.Name)
		for _, line := range lines {
			for i := 1; i < len(line); i++ {
				if line[i-1].X < left && line[i].X > right {
					t.Fatalf("%s crosses the gap", s.Name)
				}
			}
		}
	}
	count := 0
	for _, text := range r.texts {
		if text.text == "No" || text.text == "No data" {
			count++
		}
	}
	assert.GreaterOrEqual(t, count, 3+1, "words in each panel and in the legend")
	hatched := slices.ContainsFunc(r.rects, func(f filled) bool { return f.role == Missing && f.box.W > 30 && f.box.H > 50 })
	assert.True(t, hatched)
}

func TestGapsOfOneSeriesOnlyBreakItsLine(t *testing.T) {
	d := plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620})
	for i := range 60 {
		d.Series[4].Value[600+i] = math.NaN()
	}
	r := draw(d)
	assert.Len(t, r.of(Room), 3, "two stretches and the sample of the label")
	assert.NotContains(t, r.said(), "No data")
}

func TestASpikeNeverVanishes(t *testing.T) {
	from := februaryDay(t)
	for _, last := range []time.Duration{6 * hour, 24 * hour, 3 * 24 * hour, 28 * 24 * hour} {
		d := plantTrace(from, last, last/5000, Size{960, 560})
		n := len(d.Series[1].Value)
		d.Series[1].Value[n/2] = 88
		l, r := d.layout(), draw(d)
		want := l.panels[0].scale.y(88)
		highest := math.Inf(1)
		for _, points := range append(r.of(Return), areasOf(r, Return)...) {
			for _, p := range points {
				highest = min(highest, p.Y)
			}
		}
		assert.InDelta(t, want, highest, 0.8, "%v", last)
	}
}

func areasOf(r *recorder, role Role) [][]Point {
	var all [][]Point
	for _, a := range r.areas {
		if a.pen.Role == role {
			all = append(all, a.points)
		}
	}
	return all
}

func TestASilentSensorIsMarkedWithItsLastTime(t *testing.T) {
	from := februaryDay(t)
	d := plantTrace(from, 24*hour, minute, Size{1100, 620})
	cylinder := &d.Series[3]
	cylinder.UnixMS, cylinder.Value = cylinder.UnixMS[:19*60], cylinder.Value[:19*60]
	r := draw(d)
	assert.Len(t, r.rings, 1)
	assert.True(t, slices.ContainsFunc(r.said(), func(s string) bool {
		return strings.HasPrefix(s, "Cylinder") && strings.HasSuffix(s, "at\u00a018:59")
	}), r.said())
	cylinder.UnixMS, cylinder.Value = nil, nil
	assert.Contains(t, draw(d).said(), "Cylinder: no data")
}

func TestTheRestOfTodayIsNotMissing(t *testing.T) {
	from := februaryDay(t)
	d := plantTrace(from, 24*hour, minute, Size{1100, 620}).without(from.Add(8*hour), from.Add(24*hour))
	d.NowMS = from.Add(8*hour + minute/2).UnixMilli()
	r, l := draw(d), d.layout()
	assert.NotContains(t, r.said(), "No data")
	assert.Less(t, l.labelX, l.clock.right, "labels stand beside the lines")
	d.NowMS = 0
	assert.Contains(t, draw(d).said(), "No data", "on a past day the same is missing")
}

func TestEmptyChartsSayWhy(t *testing.T) {
	from := februaryDay(t)
	d := DayTrace{Title: "Empty", FromMS: from.UnixMilli(), ToMS: from.AddDate(0, 0, 1).UnixMilli(), Zone: from.Location(), Size: Size{900, 300}}
	assert.Contains(t, draw(d).said(), "No readings on Tue 3 Feb 2026")
	assert.Contains(t, string(d.SVG()), "<desc id=\"-desc\">No readings on Tue 3 Feb 2026.</desc>")
	d.ToMS = from.Add(90 * minute).UnixMilli()
	assert.Contains(t, draw(d).said(), "No readings from Tue 3 Feb 2026, 00:00 to Tue 3 Feb 2026, 01:30")
	d.ToMS = from.AddDate(0, 0, 7).UnixMilli()
	assert.Contains(t, draw(d).said(), "No readings from Tue 3 Feb 2026 to Mon 9 Feb 2026")
	d.ToMS = d.FromMS
	assert.Contains(t, draw(d).said(), "No time chosen")
}

func TestTheRepeatedHourIsSaid(t *testing.T) {
	back := time.Date(2026, 10, 25, 0, 0, 0, 0, zone(t, "Europe/London"))
	for _, width := range []float64{380, 1100} {
		assert.Contains(t, draw(plantTrace(back, 25*hour, 5*minute, Size{width, 600})).said(), "01:00 twice")
	}
}

func TestDescriptionsCountAndName(t *testing.T) {
	from := februaryDay(t)
	d := plantTrace(from, 24*hour, minute, Size{1100, 620})
	description := parseSVG(t, d.SVG())[2].text
	assert.Contains(t, description, "Readings on Tue 3 Feb 2026")
	assert.Contains(t, description, "hot water 2 times, 1\u00a0h 33\u00a0min")
	assert.Contains(t, description, "Outdoor \u22125.1 to 3.1\u00a0°C")
	assert.Contains(t, description, "backup heater on for 2\u00a0h")
	assert.NotContains(t, description, "no data")
	holed := d.without(from.Add(10*hour), from.Add(11*hour+30*minute))
	assert.Regexp(t, "no data for 1.h 2[89].min", parseSVG(t, holed.SVG())[2].text)
}

func TestHintsNameDefrostsWithTheirTimes(t *testing.T) {
	d := plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620})
	assert.Contains(t, draw(d).hints, "Hot water 05:00\u201305:45")
	assert.Empty(t, draw(plantTrace(februaryDay(t), 35*24*hour, 10*minute, Size{1100, 620})).hints)
}

func TestSharesOfLongRangesAddUp(t *testing.T) {
	from := februaryDay(t)
	d := plantTrace(from, 28*24*hour, 5*minute, Size{1000, 560})
	l := d.layout()
	total := 0.0
	for _, s := range l.ribbon.states {
		if s.kind == BackupOn {
			continue
		}
		for _, share := range s.shares(l.clock, 1000) {
			total += share * shareWidth
		}
	}
	assert.InDelta(t, l.clock.right-l.clock.left, total, 1e-6)
	assert.Contains(t, draw(d).said(), "Height: share of time")
}

func TestOverlappingAndReversedSpansAreHarmless(t *testing.T) {
	d := plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620})
	d.Spans = append(d.Spans, Span{d.ToMS, d.FromMS, Heating}, Span{d.FromMS - 1e9, d.ToMS + 1e9, HotWater}, Span{d.FromMS, d.ToMS, "dancing"})
	r := draw(d)
	for _, b := range r.rects {
		assert.GreaterOrEqual(t, b.box.W, 0.0)
	}
}

func TestTheSameInputGivesTheSameBytes(t *testing.T) {
	picture := func() []byte {
		return plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620}).SVG()
	}
	assert.Equal(t, picture(), picture())
}

func TestPixelsAreMappedToTimesForScripts(t *testing.T) {
	d := plantTrace(februaryDay(t), 24*hour, minute, Size{1100, 620})
	root := parseSVG(t, d.SVG())[0]
	assert.Equal(t, fmt.Sprint(d.FromMS), root.at["data-from-ms"])
	assert.Equal(t, fmt.Sprint(d.ToMS), root.at["data-to-ms"])
	l := d.layout()
	assert.Equal(t, decimal(l.clock.left), root.at["data-left"])
	assert.Equal(t, decimal(l.clock.right), root.at["data-right"])
}

// mostBytes bounds a picture of a whole day, so that a page of it loads at
// once on a phone.
const mostBytes = 80_000

func eightSeriesDay(t testing.TB, width float64) DayTrace {
	d := plantTrace(februaryDay(t), 24*hour, 10*time.Second, Size{width, 620})
	d.Series = slices.Delete(d.Series, 3, 4)
	require.Len(t, d.Series, 8)
	require.Len(t, d.Series[0].Value, 8640)
	return d
}

func TestAFullDayIsSmall(t *testing.T) {
	for _, width := range []float64{380, 960, 1200} {
		size := len(eightSeriesDay(t, width).SVG())
		t.Logf("%v wide: %d bytes", width, size)
		assert.LessOrEqual(t, size, mostBytes)
	}
}

func BenchmarkDayTrace(b *testing.B) {
	for _, width := range []float64{380, 1200} {
		b.Run(fmt.Sprint(width), func(b *testing.B) {
			d := eightSeriesDay(b, width)
			b.ReportAllocs()
			bytes := 0
			for b.Loop() {
				bytes = len(d.SVG())
			}
			b.ReportMetric(float64(bytes), "svg-bytes")
		})
	}
}
