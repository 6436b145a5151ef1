package note_test

import (
	"context"
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/dashboards/note"
	"coldweek/dashboards/note/notetest"
	"coldweek/dashboards/note/words"
	"coldweek/ingest/site"
)

func language(t testing.TB, tag string) *words.Language {
	t.Helper()
	l, err := words.Load(tag)
	require.NoError(t, err)
	return l
}

// known is what figures may come from, as other commands print it.
type known map[string]any

// knownOf runs what coldweek analyse --json and season --json run.
func knownOf(ctx context.Context, t *testing.T, p *notetest.Plant, f *note.Facts) known {
	t.Helper()
	k := known{"issue": float64(max(f.Issue, 1))}
	window := func(months int) job.Window { return p.Month.Before(months).Window(p.Record) }
	for name, months := range map[string]int{"this": 0, "last": 1, "year": 12} {
		r, err := job.Analyse(ctx, p.Store, p.Record, window(months), nil)
		require.NoError(t, err)
		k[name] = decoded(t, r)
	}
	for name, months := range map[string]int{"season_last": 1, "season": 12} {
		against := window(months)
		s, err := job.LookAhead(ctx, p.Store, p.Record, window(0), &against, nil)
		require.NoError(t, err)
		k[name] = decoded(t, s)
	}
	text, err := yaml.Marshal(p.Record)
	require.NoError(t, err)
	var record map[string]any
	require.NoError(t, yaml.Unmarshal(text, &record))
	k["record"] = record
	k["previous"] = decoded(t, f.Previous)
	kinds := map[string]bool{}
	for _, n := range f.Findings {
		if !n.Muted {
			kinds[n.Finding.Name()] = true
		}
	}
	k["noticed"], k["noticed_shown"] = float64(len(kinds)), float64(min(len(kinds), 5))
	return k
}

func decoded(t *testing.T, value any) any {
	t.Helper()
	text, err := json.Marshal(value)
	require.NoError(t, err)
	var v any
	require.NoError(t, json.Unmarshal(text, &v))
	return v
}

// at follows a path.
func (k known) at(t *testing.T, path string) float64 {
	t.Helper()
	var v any = map[string]any(k)
	for _, step := range strings.Split(path, ".") {
		switch in := v.(type) {
		case map[string]any:
			next, has := in[step]
			require.True(t, has, "%s: there is no %s", path, step)
			v = next
		case []any:
			i, err := strconv.Atoi(step)
			require.NoError(t, err, path)
			v = in[i]
		default:
			t.Fatalf("%s: nothing at %s", path, step)
		}
	}
	switch n := v.(type) {
	case float64:
		return n
	case uint64:
		return float64(n)
	}
	t.Fatalf("%s is %T, no number", path, v)
	return 0
}

// value works a source out.
func (k known) value(t *testing.T, s words.Source) float64 {
	t.Helper()
	v := k.at(t, s.Paths[0])
	if s.Op == words.Less {
		v -= k.at(t, s.Paths[1])
	} else {
		require.Equal(t, words.Value, s.Op)
		require.Len(t, s.Paths, 1)
	}
	v *= s.Factor
	if s.Magnitude {
		v = math.Abs(v)
	}
	return v
}

// printed reads a number back as people of the language would.
func printed(t *testing.T, tag, text string) float64 {
	t.Helper()
	group, decimal := ",", "."
	if tag == "de" {
		group, decimal = ".", ","
	}
	text = strings.ReplaceAll(strings.ReplaceAll(strings.ReplaceAll(text, group, ""), decimal, "."), "−", "-")
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

// checkFigures holds every number of a document against what it came from, and
// sees that there is no number beside those.
func checkFigures(t *testing.T, k known, d *note.Document) (checked int) {
	t.Helper()
	d.Texts(func(text words.Text) {
		for _, p := range text {
			switch p.Kind {
			case words.Number:
				if strings.ContainsFunc(p.Text, unicode.IsDigit) {
					want, got := k.value(t, p.Figure.Source), printed(t, d.Language, p.Text)
					half := 0.5*math.Pow10(-p.Figure.Decimals) + 1e-9
					assert.InDelta(t, want, got, half, "%v in %q", p.Figure.Source, text)
					checked++
				}
			case words.Words:
				assert.False(t, strings.ContainsFunc(strings.ReplaceAll(p.Text, "95\u00a0%", ""), unicode.IsDigit) && !d.Engineer, "a number from nowhere in %q", text)
			}
		}
	})
	return checked
}

var tags = []string{"en", "de"}

// TestEveryNumberIsTraced to what analyse and season print, in the notes of four
// plants, in every language, in both editions.
func TestEveryNumberIsTraced(t *testing.T) {
	for name, play := range map[string]func(testing.TB) *notetest.Plant{
		"good": notetest.Good, "low flow": notetest.LowFlow, "half a month": notetest.HalfMissing, "short cycling": notetest.ShortCycling,
	} {
		t.Run(name, func(t *testing.T) {
			if testing.Short() && name != "short cycling" {
				t.Skip("one plant will do")
			}
			p := play(t)
			f := p.Facts(t)
			f.Issue = 2
			f.Previous = &note.Previous{Issue: 1, Date: notetest.Written.AddDate(0, 0, -1), Figures: map[string]note.Main{"electricity": {Value: 1234.5}, "cost": {Value: 99}}}
			k := knownOf(t.Context(), t, p, f)
			for _, tag := range tags {
				for _, f.Engineer = range []bool{false, true} {
					d := note.Compose(f, language(t, tag))
					checked := checkFigures(t, k, d)
					assert.Greater(t, checked, 15)
					t.Logf("%s, engineer %v: %d figures traced", tag, f.Engineer, checked)
				}
			}
			f.Engineer = false
			checkPlant(t, name, f)
			checkSame(t, f)
			if name == "short cycling" {
				checkMuted(t, p.Facts(t))
				checkLacking(t, p, p.Facts(t))
			}
		})
	}
}

// checkPlant looks for what each of the four must say.
func checkPlant(t *testing.T, name string, f *note.Facts) {
	t.Helper()
	text := wholeText(note.Compose(f, language(t, "en")))
	has := func(want string) { t.Helper(); assert.Contains(t, text, want) }
	lacks := func(not string) { t.Helper(); assert.NotContains(t, text, not) }
	has("This is issue 2. It replaces the one of 2\u00a0February\u00a02026. What is different: Electricity ")
	has("instead of 1,234\u00a0kWh")
	switch name {
	case "good":
		has("The rooms kept the temperatures")
		has("nothing out of the ordinary")
		has("at £0.135")
		has("At what it took a year ago")
		has("CIBSE TM41")
		has("invented factors for this example, 2025")
		lacks("part measured")
	case "low flow":
		has("The water flow is slowly getting less")
		has("There are no readings of a year ago, January\u00a02025")
		has("which names no source")
	case "half a month":
		has("In the part of January\u00a02026 that was measured")
		has("in the part measured")
		has("Nothing was measured from 9\u00a0January to 23\u00a0January.")
		has("Readings stopped reaching us for a while (8\u00a0January to 24\u00a0January, over now)")
		has("of the month only")
	case "short cycling":
		has("The heat pump starts and stops often")
		has("Leave the radiator valves")
	}
}

func wholeText(d *note.Document) string {
	var b strings.Builder
	d.Texts(func(t words.Text) { b.WriteString(t.String() + "\n") })
	for _, p := range d.Parts {
		for _, block := range p.Blocks {
			if block.Item != nil {
				b.WriteString(block.Item.Title.String() + " (" + block.Item.Period.String() + ")\n")
			}
		}
	}
	return b.String()
}

// bare is a record with nothing but what it must have.
func bare(t *testing.T, more string) *site.Record {
	t.Helper()
	r, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Europe/London\n"+more))
	require.NoError(t, err)
	return r
}

// emptyFacts are those of a month without any reading.
func emptyFacts(record *site.Record, month note.Month) *note.Facts {
	f := &note.Facts{Record: record, Month: month, Written: notetest.Written, Issue: 1}
	for months, r := range map[int]**job.Result{0: &f.This, 1: &f.Last, 12: &f.Year} {
		*r = job.Summarise(record, month.Before(months).Window(record), nil, "")
	}
	return f
}

// TestAnEmptyMonthIsADecentPage: not known yet, and nothing made up.
func TestAnEmptyMonthIsADecentPage(t *testing.T) {
	for _, tag := range tags {
		d := note.Compose(emptyFacts(bare(t, ""), notetest.January), language(t, tag))
		text := wholeText(d)
		assert.Contains(t, text, map[string]string{"en": "is not known yet", "de": "ist noch nicht bekannt"}[tag])
		d.Texts(func(text words.Text) {
			for _, p := range text {
				assert.False(t, p.Kind == words.Number && p.Text != "0", "%q", text)
			}
		})
		assert.Greater(t, len(d.Parts), 6)
		assert.NotContains(t, text, "NaN")
	}
}

// checkLacking takes of a record one thing after another: each is left out, and
// that is said.
func checkLacking(t *testing.T, p *notetest.Plant, facts *note.Facts) {
	t.Helper()
	record := *p.Record
	facts.Record = &record
	check := func(name string, wants, nots []string) {
		t.Helper()
		months, err := job.Compared(t.Context(), p.Store, &record, p.Month.Window(&record), nil)
		require.NoError(t, err)
		facts.This = months.This
		text := wholeText(note.Compose(facts, language(t, "en")))
		for _, want := range wants {
			assert.Contains(t, text, want, name)
		}
		for _, not := range nots {
			assert.NotContains(t, text, not, name)
		}
	}
	full := *p.Record.Tariff
	record.Tariff = nil
	check("no tariff", []string{"no electricity price on record", "no carbon factor", "tariff.price_per_kwh: no cost"}, []string{"£", "Cost of electricity"})
	noFuel := full
	noFuel.FormerFuel, noFuel.FormerEfficiency, noFuel.FormerCarbonKgKWh, noFuel.FormerPricePerKWh = "", nil, nil, nil
	record.Tariff = &noFuel
	check("no former fuel", []string{"What your former heating would have put out is left out", "£"}, []string{"oil", "would have cost"})
	unnamed := full
	unnamed.FormerFuel = ""
	record.Tariff = &unnamed
	check("fuel without a name", []string{"The same heat from your former heating would have cost"}, []string{"oil"})
	gaps := full
	gaps.PricePerKWh, gaps.TimeOfUse = nil, []site.TimeOfUseRate{{TimeSpan: site.TimeSpan{From: "00:30", To: "04:30"}, PricePerKWh: 0.14}}
	record.Tariff = &gaps
	check("hours without a price", []string{"do not cover every hour of the day"}, []string{"Cost of electricity"})
	record.Tariff = &full
	record.Contact = nil
	check("no contact", []string{"this note's record does not name one", "contact.engineer: the homeowner is told nobody to call"}, nil)
	record.Emitters, record.Design = nil, nil
	check("no sets", []string{"No room temperature was written down as agreed"}, []string{"as agreed."})
	facts.Watched, facts.Findings = false, nil
	check("not watched", []string{"were not watched for irregularities"}, []string{"nothing out of the ordinary"})
}

// checkMuted: muted findings are the engineer's alone.
func checkMuted(t *testing.T, f *note.Facts) {
	t.Helper()
	require.NotEmpty(t, f.Findings)
	for i := range f.Findings {
		f.Findings[i].Muted = true
	}
	assert.NotContains(t, wholeText(note.Compose(f, language(t, "en"))), "starts and stops often")
	f.Engineer = true
	text := wholeText(note.Compose(f, language(t, "en")))
	assert.Contains(t, text, "short_cycling@")
	assert.Contains(t, text, "muted, so left out")
}

// TestTheMonthOfTheClockChange has an hour less, and all of it was measured.
func TestTheMonthOfTheClockChange(t *testing.T) {
	plant := goodPlant()
	p := notetest.Play(t, plant, note.Month{Year: 2026, Month: time.March}, nil)
	f := p.Facts(t)
	assert.InDelta(t, 1, f.This.Coverage, 0.01)
	assert.Len(t, f.This.Days, 31)
	assert.Equal(t, 31*24*time.Hour-time.Hour, f.This.To.Sub(f.This.From))
	checkFigures(t, knownOf(t.Context(), t, p, f), note.Compose(f, language(t, "en")))
	text := wholeText(note.Compose(f, language(t, "en")))
	assert.Contains(t, text, "nearly all of the month")
	assert.Contains(t, text, "1\u00a0March\u00a02026 to 31\u00a0March\u00a02026")
}

// TestNoKeyOrBraceIsLeft: no text of a note is the name of a key, and no
// brace is left.
func TestNoKeyOrBraceIsLeft(t *testing.T) {
	key := regexp.MustCompile(`\b[a-z]+_[a-z_]+\b`)
	f := emptyFacts(bare(t, ""), notetest.January)
	for _, tag := range tags {
		d := note.Compose(f, language(t, tag))
		d.ForEngineer = nil
		assert.Empty(t, key.FindAllString(wholeText(d), -1))
		assert.False(t, strings.ContainsAny(wholeText(d), "{}"))
	}
}

// TestHostileNamesStayWhatTheyAre: text, on one line, without marks that turn the
// direction of what follows.
func TestHostileNamesStayWhatTheyAre(t *testing.T) {
	record := bare(t, "")
	record.Name = "</title><script>alert(1)</script>\u202e evil\r\n\x00\x07 {month} " + strings.Repeat("Straße ", 60) + "😀"
	record.Contact = &site.Contact{Engineer: "A\nB", Homeowner: "\u0645\u0631\u062d\u0628\u0627", EngineerPhone: "\t", EngineerEmail: "a@b.example"}
	d := note.Compose(emptyFacts(record, notetest.January), language(t, "en"))
	house := d.House.String()
	assert.LessOrEqual(t, len([]rune(house)), 120)
	assert.False(t, strings.ContainsFunc(house, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) }))
	assert.Contains(t, house, "</title>")
	contact := d.Parts[slices.IndexFunc(d.Parts, func(p note.Part) bool { return p.ID == "contact" })]
	assert.Equal(t, "A B, a@b.example", contact.Blocks[0].Text.String())
}

func FuzzNamesCompose(f *testing.F) {
	for _, name := range []string{"Česká Třebová", "Mu\u0308ller", "", "\xff\xfe", "Zażółć gęślą jaźń", "a\u202eb", strings.Repeat("ß", 500)} {
		f.Add(name)
	}
	l, err := words.Load("de")
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, name string) {
		record := bare(t, "")
		record.Name, record.Contact = name, &site.Contact{Engineer: name, Homeowner: name}
		d := note.Compose(emptyFacts(record, notetest.January), l)
		d.Texts(func(text words.Text) {
			assert.False(t, strings.ContainsFunc(text.String(), unicode.IsControl), "%q", text)
		})
	})
}

// checkSame: the same facts give the same note, to the last piece.
func checkSame(t *testing.T, f *note.Facts) {
	t.Helper()
	first, err := json.Marshal(note.Compose(f, language(t, "de")))
	require.NoError(t, err)
	again, err := json.Marshal(note.Compose(f, language(t, "de")))
	require.NoError(t, err)
	assert.Equal(t, string(first), string(again))
}

func TestMonths(t *testing.T) {
	m, err := note.ParseMonth("2026-01")
	require.NoError(t, err)
	assert.Equal(t, "2025-12", m.Before(1).String())
	assert.Equal(t, "2025-01", m.Before(12).String())
	for _, wrong := range []string{"", "2026", "2026-13", "2026-1", "26-01", "2026-01-01"} {
		_, err := note.ParseMonth(wrong)
		assert.ErrorContains(t, err, "write it as 2026-01", wrong)
	}
}
