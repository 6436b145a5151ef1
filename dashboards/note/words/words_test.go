package words_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"

	"coldweek/analysis/watch"
	"coldweek/dashboards/note/words"
)

// written is a language file as it stands.
type written struct {
	Tag      string                       `yaml:"tag"`
	Texts    map[string]any               `yaml:"texts"`
	Findings map[string]map[string]string `yaml:"findings"`
}

func read(t *testing.T, tag string) written {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("languages", tag+".yaml"))
	require.NoError(t, err)
	var w written
	require.NoError(t, yaml.Unmarshal(text, &w))
	return w
}

// forms are the texts of a key, by plural form; a text that does not count has other.
func forms(t *testing.T, value any) map[string]string {
	t.Helper()
	if text, ok := value.(string); ok {
		return map[string]string{"other": text}
	}
	all := map[string]string{}
	for form, text := range value.(map[string]any) {
		all[form] = text.(string)
	}
	return all
}

// namesInBraces are what a text has filled in, each once.
func namesInBraces(text string) []string {
	found := regexp.MustCompile(`\{[a-z_]*\}`).FindAllString(text, -1)
	slices.Sort(found)
	return slices.Compact(found)
}

// TestLanguagesSayTheSame: every language has the keys of English with the same
// names to fill in, and all the plural forms it needs.
func TestLanguagesSayTheSame(t *testing.T) {
	english := read(t, words.English)
	for _, tag := range words.Tags() {
		w := read(t, tag)
		for key, value := range english.Texts {
			if !assert.Contains(t, w.Texts, key, tag) {
				continue
			}
			ours, theirs := forms(t, value), forms(t, w.Texts[key])
			if len(ours) > 1 {
				assert.Equal(t, pluralForms(t, w.Tag), keysOf(theirs), "%s: %s: plural forms", tag, key)
			} else {
				assert.Len(t, theirs, 1, "%s: %s: it does not count in English", tag, key)
			}
			assert.Equal(t, namesInBraces(ours["other"]), namesInBraces(theirs["other"]), "%s: %s", tag, key)
		}
		assert.ElementsMatch(t, keysOf(english.Texts), keysOf(w.Texts), tag)
		assert.ElementsMatch(t, keysOf(english.Findings), keysOf(w.Findings), tag)
		for kind, said := range english.Findings {
			for part, text := range said {
				assert.NotEmpty(t, w.Findings[kind][part], "%s: %s: %s", tag, kind, part)
				assert.Equal(t, namesInBraces(text), namesInBraces(w.Findings[kind][part]), "%s: %s: %s", tag, kind, part)
			}
		}
	}
}

func keysOf[V any](m map[string]V) []string {
	var keys []string
	for key := range m {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}

// pluralForms are those that whole numbers have in a language.
func pluralForms(t *testing.T, tag string) []string {
	t.Helper()
	names := map[plural.Form]string{plural.Zero: "zero", plural.One: "one", plural.Two: "two", plural.Few: "few", plural.Many: "many", plural.Other: "other"}
	seen := map[string]bool{}
	for n := range 200 {
		seen[names[plural.Cardinal.MatchPlural(language.MustParse(tag), n, 0, 0, 0, 0)]] = true
	}
	return keysOf(seen)
}

// texts are all sentences of a language by key.
func texts(t *testing.T, w written) map[string]string {
	t.Helper()
	all := map[string]string{}
	for key, value := range w.Texts {
		for form, text := range forms(t, value) {
			all[key+" "+form] = text
		}
	}
	for kind, said := range w.Findings {
		for part, text := range said {
			all["finding "+kind+" "+part] = text
		}
	}
	return all
}

// TestTextsHoldNoFigures, which would come from nowhere. What the engineer reads
// may name its confidence.
func TestTextsHoldNoFigures(t *testing.T) {
	for _, tag := range words.Tags() {
		for key, text := range texts(t, read(t, tag)) {
			if !strings.HasPrefix(key, "engineer_") {
				assert.False(t, strings.ContainsFunc(text, unicode.IsDigit), "%s: %s: %s", tag, key, text)
			}
		}
	}
}

// loanwords are written alike in English and German.
var loanwords = []string{"engineer_missing", "date", "list_comma", "percent", "money", "contact_", "cold_room", "finding", "month_year"}

// TestNoEnglishIsLeftInGerman: small words that German does not have, and texts
// that were not translated.
func TestNoEnglishIsLeftInGerman(t *testing.T) {
	english, german := texts(t, read(t, "en")), texts(t, read(t, "de"))
	small := regexp.MustCompile(`(?i)\b(the|and|of|is|are|it|that|with|for|from|to|your|you|we|not|this|on|at|by|has|have|day|water|heat|month)\b`)
	for key, text := range german {
		if strings.HasPrefix(key, "engineer_method_paths") {
			text = strings.Replace(text, "this, last", "", 1) // names of paths
		}
		if strings.HasPrefix(key, "missing_") {
			text = regexp.MustCompile(`[a-z_]+\.[a-z_]+|former_[a-z_]+|set_temp_c`).ReplaceAllString(text, "")
		}
		assert.Empty(t, small.FindAllString(regexp.MustCompile(`\{[a-z_]*\}`).ReplaceAllString(text, ""), -1), "%s: %s", key, text)
		alike := slices.ContainsFunc(loanwords, func(prefix string) bool { return strings.HasPrefix(key, prefix) })
		if !alike && strings.Count(text, " ") > 2 {
			assert.NotEqual(t, english[key], text, key)
		}
	}
}

// TestEveryKindOfFindingHasWords in every language, and no kind that is none has.
func TestEveryKindOfFindingHasWords(t *testing.T) {
	kinds := watch.Kinds()
	require.Greater(t, len(kinds), 20)
	for _, tag := range words.Tags() {
		w := read(t, tag)
		for _, kind := range kinds {
			for _, part := range []string{"title", "means", "next"} {
				assert.NotEmpty(t, w.Findings[kind][part], "%s: findings: %s: %s", tag, kind, part)
			}
		}
		for kind := range w.Findings {
			if kind != words.FindingOther && kind != "room_cold_place" {
				assert.Contains(t, kinds, kind, tag)
			}
		}
	}
}

// TestNothingIsPromisedOrBlamed: words that a note has no place for.
func TestNothingIsPromisedOrBlamed(t *testing.T) {
	out := map[string]string{
		"en": `(?i)\b(guarantee\w*|promis\w*|definitely|always works|your fault|you should have|failed to|must not have)\b`,
		"de": `(?i)\b(garantier\w*|versprechen|versprochen|bestimmt|Ihre Schuld|selbst schuld|hätten Sie|versäumt)\b`,
	}
	for _, tag := range words.Tags() {
		for key, text := range texts(t, read(t, tag)) {
			assert.Empty(t, regexp.MustCompile(out[tag]).FindString(text), "%s: %s: %s", tag, key, text)
		}
	}
}

// TestJargonStaysOut of what a homeowner is told of findings.
func TestJargonStaysOut(t *testing.T) {
	jargon := regexp.MustCompile(`(?i)\b(SPF|COP|cycling|hysteresis|setpoint|MQTT|delta|dT|kelvin|strainer|Takten|Spreizung|Hysterese|JAZ)\b`)
	for _, tag := range words.Tags() {
		for kind, said := range read(t, tag).Findings {
			for part, text := range said {
				assert.Empty(t, jargon.FindString(text), "%s: %s: %s", tag, kind, part)
			}
		}
	}
}

func TestNumbersAreWrittenAsTheLanguageDoes(t *testing.T) {
	check := func(tag string, v float64, decimals int, want string) {
		t.Helper()
		l, err := words.Load(tag)
		require.NoError(t, err)
		assert.Equal(t, want, l.Number(v, decimals, words.Source{}).String())
	}
	check("en", 1234.5, 0, "1,234") // half to even
	check("en", 1234.56, 1, "1,234.6")
	check("en", -4.25, 1, "−4.2")
	check("en", -0.01, 1, "0.0")
	check("en", 1234567, 0, "1,234,567")
	check("de", 1234.56, 1, "1.234,6")
	check("de", -4.26, 1, "−4,3")
	check("de", 999, 0, "999")
	check("de", 12345678.9, 2, "12.345.678,90")
}

func TestMoneyDatesAndPlurals(t *testing.T) {
	en, err := words.Load("en")
	require.NoError(t, err)
	de, err := words.Load("de")
	require.NoError(t, err)
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	none := words.Source{}
	assert.Equal(t, "£87", en.Money(87.4, 0, "GBP", none).String())
	assert.Equal(t, "87,40\u00a0€", de.Money(87.4, 2, "EUR", none).String())
	assert.Equal(t, "CHF\u00a012", en.Money(12, 0, "CHF", none).String())
	assert.Equal(t, "12", en.Money(12, 0, "", none).String())
	assert.Equal(t, "12.5\u00a0%", en.Percent(12.5, 1, none).String())
	assert.Equal(t, "1\u00a0March\u00a02026", en.Day(at).String())
	assert.Equal(t, "1.\u00a0März\u00a02026", de.Day(at).String())
	assert.Equal(t, "Sunday\u00a01\u00a0March", en.Weekday(at).String())
	assert.Equal(t, "Sonntag,\u00a01.\u00a0März", de.Weekday(at).String())
	for n, want := range map[int]string{0: "0 hours", 1: "1 hour", 2: "2 hours"} {
		assert.Equal(t, want, en.SayCount("hours", float64(n), none, nil).String())
	}
	for n, want := range map[int]string{0: "0 Stunden", 1: "1 Stunde", 5: "5 Stunden"} {
		assert.Equal(t, want, de.SayCount("hours", float64(n), none, nil).String())
	}
	assert.Equal(t, "einmal", de.SayCount("times", 1, none, nil).String())
	list := []words.Text{words.Called("a"), words.Called("b"), words.Called("c")}
	assert.Equal(t, "a, b and c", en.List(list).String())
	assert.Equal(t, "a, b und c", de.List(list).String())
	assert.Equal(t, "a and b", en.List(list[:2]).String())
	assert.Empty(t, en.List(nil))
	_, err = words.Load("tlh")
	assert.ErrorContains(t, err, "only for de, en")
}
