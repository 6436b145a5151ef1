package site

import (
	"fmt"
	"math"
	"net/mail"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
	"github.com/invopop/jsonschema"

	"coldweek/ingest"
)

// decimal is a number as YAML 1.2's core schema and JSON read it alike (YAML
// 1.2.2 section 10.3.2), without the leading zeros that other readers take for
// octal.
var decimal = regexp.MustCompile(`^[-+]?((0|[1-9][0-9]*)(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?$`)

func isQuoted(n *ast.StringNode) bool {
	return n.Token.Type == token.SingleQuoteType || n.Token.Type == token.DoubleQuoteType
}

// looksLikeNumber says whether a plain scalar is a number to some YAML reader.
func looksLikeNumber(node ast.Node, text string) bool {
	switch node.(type) {
	case *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
		return true
	}
	return decimal.MatchString(text)
}

// describe names a node for "needs a number, not ...".
func describe(node ast.Node) string {
	switch node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "keys below it"
	case *ast.SequenceNode:
		return "a list"
	}
	text, quoted, err := plainText(node)
	switch {
	case err != nil:
		return "this"
	case quoted:
		return "the text " + quote(text)
	}
	return quote(text)
}

func (d *decoder) number(node ast.Node, into reflect.Value, limits *jsonschema.Schema, path string) bool {
	text, quoted, err := plainText(node)
	if err != nil || quoted || !decimal.MatchString(text) {
		d.report(path, "needs a number, not "+describe(node), numberFix(text))
		return false
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		d.report(path, quote(text)+" is too large", rangeFix(limits))
		return false
	}
	if into.Kind() == reflect.Int && value != math.Trunc(value) {
		d.report(path, text+" is no whole number", fmt.Sprintf("write %.0f", value))
		return false
	}
	if !d.withinLimits(value, text, limits, path) {
		return false
	}
	d.numbers[path] = value
	if into.Kind() == reflect.Int {
		into.SetInt(int64(value))
	} else {
		into.SetFloat(value)
	}
	return true
}

func (d *decoder) withinLimits(value float64, text string, limits *jsonschema.Schema, path string) bool {
	if words := choices(limits); len(words) > 0 && !slices.Contains(words, strconv.FormatFloat(value, 'g', -1, 64)) {
		d.report(path, text+" is none of "+strings.Join(words, ", "), "write one of them")
		return false
	}
	if inRange(value, limits) {
		return true
	}
	fix := unitFix(path, value, limits)
	if fix == "" {
		fix = rangeFix(limits)
	}
	d.report(path, text+outside(value, limits), fix)
	return false
}

func inRange(value float64, limits *jsonschema.Schema) bool { return outside(value, limits) == "" }

// outside says which limit a value breaks, or "".
func outside(value float64, limits *jsonschema.Schema) string {
	if low, given := limit(limits.Minimum); given && value < low {
		return " is below " + limits.Minimum.String()
	}
	if above, given := limit(limits.ExclusiveMinimum); given && value <= above {
		return " is not above " + limits.ExclusiveMinimum.String()
	}
	if high, given := limit(limits.Maximum); given && value > high {
		return " is above " + limits.Maximum.String()
	}
	return ""
}

func rangeFix(limits *jsonschema.Schema) string {
	switch {
	case limits.Maximum == "":
		return "write a smaller number"
	case limits.ExclusiveMinimum != "":
		return fmt.Sprintf("write a number above %s and at most %s", limits.ExclusiveMinimum, limits.Maximum)
	}
	return fmt.Sprintf("write a number from %s to %s", limits.Minimum, limits.Maximum)
}

func (d *decoder) text(node ast.Node, into reflect.Value, limits *jsonschema.Schema, path string) bool {
	text, quoted, err := plainText(node)
	_, isBool := node.(*ast.BoolNode)
	switch {
	case err != nil:
		d.report(path, "needs text, not "+describe(node), "write it on the line of the key")
		return false
	case !quoted && (isBool || looksLikeNumber(node, text)):
		d.report(path, "needs text, and "+shorten(text)+" without quotes is none", "write "+quote(text))
		return false
	case text == "":
		d.report(path, "is empty", "give it a value or leave the key out")
		return false
	}
	if message, fix := d.checkText(&text, into.Type(), limits, path); message != "" {
		d.report(path, message, fix)
		return false
	}
	into.SetString(text)
	return true
}

// checkText says what is wrong with a text; a unit is rewritten as its UCUM
// code.
func (d *decoder) checkText(text *string, t reflect.Type, limits *jsonschema.Schema, path string) (message, fix string) {
	words := choices(limits)
	switch {
	case t == channelType:
		if _, err := ingest.ParseChannel(*text); err != nil {
			return "unknown channel " + quote(*text), channelFix(*text)
		}
	case t == unitType:
		u, err := ingest.ParseUnit(*text)
		if err != nil {
			return "unknown unit " + quote(*text), spellingFix(*text, err)
		}
		*text = string(u)
	case len(words) > 0:
		if !slices.Contains(words, *text) {
			return quote(*text) + " is none of " + strings.Join(words, ", "), wordFix(*text, words)
		}
	case limits.Pattern != "":
		if !pattern(limits.Pattern).MatchString(*text) {
			return patternProblem(path, *text)
		}
	case limits.Format != "":
		return formatProblem(limits.Format, *text)
	}
	return "", ""
}

// pattern compiles a tag's pattern; one that does not compile is our mistake
// and every test fails on it.
func pattern(expression string) *regexp.Regexp { return regexp.MustCompile(expression) }

// formatProblem checks the formats of JSON Schema that fields have. A date-time
// is left to the rules: the record's zone helps to say what would be right.
func formatProblem(format, text string) (message, fix string) {
	switch format {
	case "date":
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			return quote(text) + " is no date", dateFix(text)
		}
	case "email":
		if a, err := mail.ParseAddress(text); err != nil || a.Address != text {
			return quote(text) + " is no e-mail address", "write it like name@example.org"
		}
	}
	return "", ""
}
