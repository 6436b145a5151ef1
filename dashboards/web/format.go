package web

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
)

const (
	nbsp    = "\u00a0"
	minus   = "\u2212"
	unknown = "–"
)

// quantity is a figure ready to be read. An unknown one is a dash without a
// unit.
type quantity struct{ Value, Unit string }

// String returns value and unit on one line.
func (q quantity) String() string {
	if q.Unit == "" {
		return q.Value
	}
	return q.Value + nbsp + q.Unit
}

// Known says whether there is a figure.
func (q quantity) Known() bool { return q.Value != unknown && q.Value != "" }

// measured writes a value with digits after the point, a dash for nil.
func measured(value *float64, digits int, unit string) quantity {
	if value == nil || math.IsNaN(*value) || math.IsInf(*value, 0) {
		return quantity{Value: unknown}
	}
	return quantity{number(*value, digits), unit}
}

func counted(value *int) quantity {
	if value == nil {
		return quantity{Value: unknown}
	}
	return quantity{Value: number(float64(*value), 0)}
}

// energy writes kWh: with a tenth below 1000.
func energy(energyKWh *float64) quantity {
	digits := 1
	if energyKWh != nil && math.Abs(*energyKWh) >= 999.95 {
		digits = 0
	}
	return measured(energyKWh, digits, "kWh")
}

func celsius(value *float64) quantity { return measured(value, 1, "°C") }

func litresPerHour(value *float64) quantity { return measured(value, 0, "l/h") }

// percent writes a ratio. What is not whole is never written as 100 %, what is
// something never as 0 %.
func percent(ratio *float64) quantity {
	q := measured(ratio, 0, "%")
	if !q.Known() {
		return q
	}
	pct := *ratio * 100
	switch rounded := math.Round(pct); {
	case rounded == 100 && pct < 99.95:
		pct = math.Floor(pct*10) / 10
		return quantity{number(pct, 1), "%"}
	case rounded == 0 && pct > 0:
		return quantity{"<" + nbsp + "1", "%"}
	}
	return quantity{number(pct, 0), "%"}
}

// kilowatts writes a power given in W.
func kilowatts(powerW *float64) quantity {
	if powerW == nil {
		return quantity{Value: unknown}
	}
	kW := *powerW / 1000
	return measured(&kW, 2, "kW")
}

// number writes v with a true minus and thousands apart. What rounds to zero
// has no sign.
func number(v float64, digits int) string {
	s := strconv.FormatFloat(math.Abs(v), 'f', digits, 64)
	whole, fraction, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0 && len(whole) > 4; i -= 3 {
		whole = whole[:i] + "\u202f" + whole[i:]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	if v < 0 && strings.Trim(s, "0.") != "" {
		return minus + whole
	}
	return whole
}

// length writes a length of time in the two units that matter.
func length(d time.Duration) string {
	minutes := int(d.Round(time.Minute).Minutes())
	days := int(d.Hours() / 24)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d%ss", int(d.Round(time.Second).Seconds()), nbsp)
	case minutes < 60:
		return fmt.Sprintf("%d%smin", minutes, nbsp)
	case minutes < 24*60 && minutes%60 == 0:
		return fmt.Sprintf("%d%sh", minutes/60, nbsp)
	case minutes < 24*60:
		return fmt.Sprintf("%d%sh%s%d%smin", minutes/60, nbsp, nbsp, minutes%60, nbsp)
	case days < 3:
		return fmt.Sprintf("%d%sh", int(math.Round(d.Hours())), nbsp)
	}
	return number(float64(days), 0) + nbsp + "days"
}

// minutes writes a length given in minutes.
func minutes(value *float64) string {
	if value == nil {
		return unknown
	}
	return length(time.Duration(*value * float64(time.Minute)))
}

const (
	dateLayout   = "2006-01-02"
	minuteLayout = "2006-01-02T15:04"
	dayInWords   = "Mon 2 Jan 2006"
)

// moment writes an instant as short as its distance from now allows.
func moment(t, now time.Time) string {
	switch {
	case t.Format(dateLayout) == now.Format(dateLayout):
		return t.Format("15:04")
	case t.Year() == now.Year():
		return t.Format("Mon 2 Jan, 15:04")
	}
	return t.Format("2 Jan 2006, 15:04")
}

// signed finds the sign of a number, unspaced a unit that must not part from it.
var (
	signed   = regexp.MustCompile(`(^|[\s(])-(\d)`)
	unspaced = regexp.MustCompile(`(\d) (%|(?:°C|K|W|kW|kWh|l/h|l/min|kPa|Pa|bar|Hz|m/s|min|h)\b)`)
)

// printed writes words of the analysis as pages do: with a true minus, and numbers
// with their unit on one line.
func printed(text string) string {
	text = signed.ReplaceAllString(text, "${1}"+minus+"${2}")
	return unspaced.ReplaceAllString(text, "${1}"+nbsp+"${2}")
}
