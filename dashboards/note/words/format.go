package words

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/currency"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

const (
	nbsp  = "\u00a0"
	minus = "\u2212"
)

// style is how a language writes numbers, as the CLDR says: what x/text makes of
// one number, taken apart once, since its printer is slow and not for many at once.
type style struct {
	decimal, group string
	groupFrom      int // digits before the point from which on there are groups
}

func styleOf(tag language.Tag) style {
	p := message.NewPrinter(tag)
	split := func(v float64) string {
		return strings.Map(func(r rune) rune {
			if unicode.IsDigit(r) {
				return -1
			}
			return r
		}, p.Sprint(number.Decimal(v, number.Scale(0))))
	}
	s := style{groupFrom: 4, group: split(12345)}
	if split(1234) == "" {
		s.groupFrom = 5
	}
	s.decimal = strings.Trim(p.Sprint(number.Decimal(0.5, number.Scale(1))), "05")
	return s
}

// format writes a number with so many decimals and a true minus sign.
func (s style) format(v float64, decimals int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, fraction, _ := strings.Cut(text, ".")
	if len(whole) >= s.groupFrom {
		for i := len(whole) - 3; i > 0; i -= 3 {
			whole = whole[:i] + s.group + whole[i:]
		}
	}
	if fraction != "" {
		whole += s.decimal + fraction
	}
	if v < 0 && strings.Trim(text, "0.") != "" {
		return minus + whole
	}
	return whole
}

// Number writes a figure.
func (l *Language) Number(v float64, decimals int, source Source) Text {
	return Text{{Kind: Number, Text: l.style.format(v, decimals), Figure: &Figure{Value: v, Decimals: decimals, Source: source}}}
}

// Measure writes a figure and its unit, which stay on one line.
func (l *Language) Measure(v float64, decimals int, unit string, source Source) Text {
	return append(l.Number(v, decimals, source), Piece{Kind: Words, Text: nbsp + unit})
}

// Percent writes a ratio's hundredfold; source is of the percentage.
func (l *Language) Percent(pct float64, decimals int, source Source) Text {
	return unbroken(l.Say("percent", Args{"number": l.Number(pct, decimals, source)}))
}

// unbroken keeps a text on one line.
func unbroken(text Text) Text {
	for i := range text {
		text[i].Text = strings.ReplaceAll(text[i].Text, " ", nbsp)
	}
	return text
}

// Money writes an amount of a currency by its ISO 4217 code; without a code it
// is the number alone.
func (l *Language) Money(v float64, decimals int, code string, source Source) Text {
	amount := l.Number(v, decimals, source)
	if code == "" {
		return amount
	}
	symbol := code
	if unit, err := currency.ParseISO(code); err == nil {
		symbol = message.NewPrinter(l.tag).Sprint(currency.NarrowSymbol(unit))
	}
	key := "money"
	if last, _ := utf8.DecodeLastRuneInString(symbol); unicode.IsLetter(last) {
		key = "money_code"
	}
	return unbroken(l.Say(key, Args{"symbol": Plain(symbol), "amount": amount}))
}

// Day writes a whole date.
func (l *Language) Day(at time.Time) Text { return l.date("date", at) }

// ShortDay writes a date without its year.
func (l *Language) ShortDay(at time.Time) Text { return l.date("date_short", at) }

// Weekday writes a date without its year and with its day of the week.
func (l *Language) Weekday(at time.Time) Text { return l.date("date_weekday", at) }

// Month writes a month and its year.
func (l *Language) Month(at time.Time) Text { return l.date("month_year", at) }

// date is one piece, with its spaces unbroken.
func (l *Language) date(key string, at time.Time) Text {
	text := l.Say(key, Args{
		"day": Plain(strconv.Itoa(at.Day())), "month": Plain(l.months[at.Month()-1]), "year": Plain(strconv.Itoa(at.Year())),
		"weekday": Plain(l.weekdays[at.Weekday()]),
	})
	return Text{{Kind: Date, Text: strings.ReplaceAll(text.String(), " ", nbsp)}}
}

// List puts texts into a sentence: a, b and c.
func (l *Language) List(texts []Text) Text {
	if len(texts) == 0 {
		return nil
	}
	all := texts[0]
	for i, t := range texts[1:] {
		key := "list_comma"
		if i == len(texts)-2 {
			key = "list_and"
		}
		all = l.Say(key, Args{"first": all, "last": t})
	}
	return all
}
