package influx

import (
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"unicode/utf8"

	"coldweek/ingest"
)

const hexDigits = "0123456789ABCDEF"

// escapeName makes a name one that line protocol and InfluxQL can both carry:
// readable as it is in other tools, except that %, \, control characters and
// what is not UTF-8 are percent-encoded.
func escapeName(name string) string {
	plain := func(r rune) bool { return r != '%' && r != '\\' && r >= ' ' && r != 0x7f && r != utf8.RuneError }
	if strings.IndexFunc(name, func(r rune) bool { return !plain(r) }) < 0 {
		return name
	}
	var b strings.Builder
	for len(name) > 0 {
		r, size := utf8.DecodeRuneInString(name)
		if plain(r) {
			b.WriteString(name[:size])
		} else {
			for _, c := range []byte(name[:size]) {
				writeEscaped(&b, c)
			}
		}
		name = name[size:]
	}
	return b.String()
}

func writeEscaped(b *strings.Builder, c byte) {
	b.WriteByte('%')
	b.WriteByte(hexDigits[c>>4])
	b.WriteByte(hexDigits[c&15])
}

// unescapeName takes escapeName and escapeField back. A name that others wrote
// and that cannot be taken back stands for itself.
func unescapeName(name string) string {
	if plain, err := url.PathUnescape(name); err == nil {
		return plain
	}
	return name
}

// escapeField does what escapeName does, and keeps clear of the names taken.
func escapeField(name string, taken func(string) bool) string {
	if name == "" || !taken(name) {
		return escapeName(name)
	}
	var b strings.Builder
	writeEscaped(&b, name[0])
	return b.String() + escapeName(name[1:])
}

// takenInReading are names that a field of a reading cannot have: InfluxDB
// drops a field called time, and site is the tag.
func takenInReading(name string) bool { return name == "time" || name == "site" }

// fieldOf returns the field that holds a channel.
func fieldOf(channel ingest.Channel) string { return escapeField(string(channel), takenInReading) }

// text and ident quote for InfluxQL. Escaped names hold no backslash.
func text(name string) string {
	return "'" + strings.ReplaceAll(escapeName(name), "'", `\'`) + "'"
}

func ident(escaped string) string {
	return `"` + strings.ReplaceAll(escaped, `"`, `\"`) + `"`
}

// between is a condition for fromMS <= time < toMS.
func between(fromMS, toMS int64) string {
	return fmt.Sprintf("time >= %s AND time < %s", nanos(fromMS), nanos(toMS))
}

// nanos writes a time for InfluxQL, the nearest it can hold.
func nanos(unixMS int64) string {
	const furthest = math.MaxInt64 / 1_000_000
	return strconv.FormatInt(max(-furthest, min(furthest, unixMS))*1_000_000, 10)
}
