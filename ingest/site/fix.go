package site

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"
	"github.com/goccy/go-yaml/ast"
	"github.com/invopop/jsonschema"

	"coldweek/ingest"
)

// maxShown bounds what a message repeats of the file.
const maxShown = 60

func shorten(s string) string {
	if utf8.RuneCountInString(s) <= maxShown {
		return s
	}
	return string([]rune(s)[:maxShown]) + "..."
}

func quote(s string) string { return strconv.Quote(shorten(s)) }

// near returns the word that was probably meant, or "" when none is close:
// the same but for case and separators, the beginning of just one, or at most
// a third of the letters wrong.
func near(s string, words []string) string {
	plain := func(w string) string {
		return strings.NewReplacer("_", "", "-", "", " ", "").Replace(strings.ToLower(w))
	}
	var begun []string
	for _, w := range words {
		switch {
		case plain(w) == plain(s):
			return w
		case len(s) > 2 && strings.HasPrefix(plain(w), plain(s)):
			begun = append(begun, w)
		}
	}
	if len(begun) == 1 {
		return begun[0]
	}
	lowered := strings.ToLower(shorten(s))
	w := ingest.Nearest(lowered, words)
	if levenshtein.ComputeDistance(lowered, w) <= max(1, utf8.RuneCountInString(w)/3) {
		return w
	}
	return ""
}

func wordFix(s string, words []string) string {
	if w := near(s, words); w != "" {
		return "did you mean " + strconv.Quote(w) + "?"
	}
	return "write one of them"
}

func keyFix(key string, known []string) string {
	if w := near(key, known); w != "" {
		return "did you mean " + strconv.Quote(w) + "?"
	}
	if section := home(key); section != "" {
		return "it belongs under " + section + ":"
	}
	return "known keys: " + strings.Join(known, ", ")
}

// spellingFix suggests the unit whose spelling is nearest, or repeats what
// reading it said.
func spellingFix(text string, err error) string {
	if w := near(text, ingest.UnitSpellings()); len(w) > 2 {
		if u, err := ingest.ParseUnit(w); err == nil {
			return "did you mean " + strconv.Quote(string(u)) + "?"
		}
	}
	_, hint, _ := strings.Cut(err.Error(), "; ")
	return hint
}

// channelFix suggests a quantity and keeps the place, made fit for a channel.
func channelFix(name string) string {
	q, place, placed := strings.Cut(name, "/")
	if u, err := columnChannel(name); err == nil {
		return fmt.Sprintf("write %q and put the unit in unit:", string(u))
	}
	quantity := near(q, quantityNames())
	if quantity == "" {
		return "known channels: " + strings.Join(quantityNames(), ", ")
	}
	suggestion := ingest.NewChannel(ingest.Quantity(quantity), slug(place, "_"))
	if placed && suggestion.Place() == "" {
		return fmt.Sprintf("write %q or %q", string(suggestion), quantity+"/north")
	}
	return fmt.Sprintf("did you mean %q?", string(suggestion))
}

// columnChannel reads a channel that was written like a file's column.
func columnChannel(name string) (ingest.Channel, error) {
	c, _, err := ingest.ParseColumn(name)
	return c, err
}

var notSlug = regexp.MustCompile(`[^a-z0-9_-]+`)

// slug makes a short name of letters, digits, - and _ out of any text.
func slug(s, separator string) string {
	s = notSlug.ReplaceAllString(strings.ToLower(strings.TrimSpace(s)), separator)
	s = strings.Trim(s, "-_")
	return s[:min(len(s), 62)]
}

var numberStart = regexp.MustCompile(`^[-+]?[0-9][0-9_]*([.,][0-9]+)?`)

// numberFix suggests the number inside a text such as "9,5 kW" or "1_200".
func numberFix(text string) string {
	text = strings.TrimSpace(strings.Replace(text, "−", "-", 1)) // U+2212
	if n, err := strconv.ParseInt(text, 0, 64); err == nil && strings.ContainsAny(text, "xXoO") {
		return fmt.Sprintf("write %d", n)
	}
	found := numberStart.FindString(text)
	if found == "" {
		return "write digits, such as 9.5, without a unit"
	}
	plain := strings.ReplaceAll(strings.Replace(found, ",", ".", 1), "_", "")
	value, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsInf(value, 0) {
		return "write a smaller number"
	}
	return "write " + formatNumber(value) + ", without quotes, unit or comma"
}

func formatNumber(value float64) string {
	return strconv.FormatFloat(math.Round(value*1e6)/1e6, 'f', -1, 64)
}

func truthFix(node ast.Node) string {
	text, _, _ := plainText(node)
	switch strings.ToLower(text) {
	case "yes", "y", "on", "1", "true":
		return "write true"
	case "no", "n", "off", "0", "false":
		return "write false"
	}
	return "write true or false"
}

// mistakenUnits are the units people type into a key of another unit, by the
// end of the key: value in the key's unit = typed*factor + shift, for typed
// values from least.
var mistakenUnits = []struct {
	ending, unit         string
	factor, shift, least float64
}{
	{"_kw", "W", 1e-3, 0, 0},
	{"outdoor_temp_c", "°F", 5.0 / 9, -160.0 / 9, 0},
	{"_temp_c", "°F", 5.0 / 9, -160.0 / 9, 50},
	{"_temp_c", "K", 1, -273.15, 200},
	{"_m3h", "l/h", 1e-3, 0, 0},
	{"_kpa", "Pa", 1e-3, 0, 0},
	{"length_m", "mm", 1e-3, 0, 0},
	{"_efficiency", "percent", 1e-2, 0, 0},
	{"_concentration_pct", "a ratio", 100, 0, 0},
	{"carbon_kg_per_kwh", "g", 1e-3, 0, 0},
	{"_gap_s", "ms", 1e-3, 0, 0},
}

// unitFix says which unit an impossible value looks like and what it is in
// the unit of its key, or "".
func unitFix(path string, value float64, limits *jsonschema.Schema) string {
	for _, m := range mistakenUnits {
		steps := 1e4
		if m.shift != 0 {
			steps = 10
		}
		converted := math.Round((value*m.factor+m.shift)*steps) / steps
		if strings.HasSuffix(path, m.ending) && value > m.least && inRange(converted, limits) {
			return fmt.Sprintf("looks like %s; write %s", m.unit, formatNumber(converted))
		}
	}
	return ""
}

var (
	dateLayouts = []string{
		time.DateOnly, "2006-1-2", "2006/1/2", "2.1.2006", "2/1/2006", "2-1-2006", "20060102",
		"2 Jan 2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006",
	}
	clockLayouts = []string{"", " 15:04", " 15:04:05", "T15:04", "T15:04:05"}
)

// dateFix writes a date of another form as ISO 8601, day before month.
func dateFix(text string) string {
	for _, layout := range append([]string{time.RFC3339}, dateLayouts...) {
		if t, err := time.Parse(layout, strings.TrimSpace(text)); err == nil {
			return "write " + t.Format(time.DateOnly)
		}
	}
	return "write year-month-day, such as 2025-10-14"
}

// timeFix writes a time of another form as RFC 3339 in the site's zone.
func timeFix(text string, zone *time.Location) string {
	for _, date := range dateLayouts {
		for _, clock := range clockLayouts {
			if t, err := time.ParseInLocation(date+clock, strings.TrimSpace(text), zone); err == nil {
				return "write " + t.Format(time.RFC3339)
			}
		}
	}
	return "write date, time and offset from UTC, such as 2025-11-20T10:30:00+01:00"
}

// patternProblem says in words what the pattern of a key asks for.
func patternProblem(path, text string) (message, fix string) {
	switch path[strings.LastIndex(path, ".")+1:] {
	case "id":
		return quote(text) + " is no short name: lower-case letters, digits, - and _, at most 63", "write " + cmp.Or(slug(text, "-"), "mill")
	case "currency":
		return quote(text) + " is no ISO 4217 code", "write " + currencyOf(text)
	case "size":
		return quote(text) + " is no outside diameter x wall in mm", "write " + sizeOf(text)
	}
	return quote(text) + " is no time of day from 00:00 to 23:59", "write " + clockOf(text)
}

func currencyOf(text string) string {
	signs := map[string]string{"€": "EUR", "£": "GBP", "$": "USD"}
	upper := strings.ToUpper(strings.TrimSpace(text))
	if len(upper) == 3 && notSlug.FindString(strings.ToLower(upper)) == "" {
		return upper
	}
	return cmp.Or(signs[upper], "a code such as EUR")
}

var sizeParts = regexp.MustCompile(`^[^0-9]*([0-9]+(?:[.,][0-9]+)?)\s*[xX×*]\s*([0-9]+(?:[.,][0-9]+)?)`)

func sizeOf(text string) string {
	parts := sizeParts.FindStringSubmatch(text)
	if parts == nil {
		return "both, such as 28x0.9"
	}
	return strings.ReplaceAll(parts[1]+"x"+parts[2], ",", ".")
}

func clockOf(text string) string {
	if strings.HasPrefix(text, "24") {
		return strconv.Quote("00:00")
	}
	for _, layout := range []string{"15:04:05", "15:4", "15.04", "15h04", "1504", "15", "3:04pm", "3:04 pm", "3pm", "3 pm"} {
		if t, err := time.Parse(layout, strings.ToLower(strings.TrimSpace(text))); err == nil {
			return strconv.Quote(t.Format("15:04"))
		}
	}
	return `hours and minutes, such as "06:30"`
}

// hintOf says in brackets what a missing key holds, or "".
func hintOf(limits *jsonschema.Schema) string {
	about, _, _ := strings.Cut(limits.Description, ";")
	switch words := choices(limits); {
	case len(words) > 0 && len(words) < 10:
		about = listed(words)
	case limits.Type == "number" && limits.Maximum != "":
		about = strings.TrimPrefix(rangeFix(limits), "write ")
	}
	if about == "" {
		return ""
	}
	return " (" + about + ")"
}

// some joins the first of many words.
func some(words []string) string {
	const shown = 12
	if len(words) > shown {
		return strings.Join(words[:shown], ", ") + ", ..."
	}
	return strings.Join(words, ", ")
}

// listed joins words as people do: "a, b or c".
func listed(words []string) string {
	words = slices.Clone(words)
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
