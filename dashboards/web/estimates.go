package web

import (
	"math"

	"coldweek/analysis/robust"
)

// estimated is a figure with its 95 % interval, in a unit so many times larger; nil
// is not known.
func estimated(name string, e *robust.Estimate, times float64, digits int, unit string, more ...string) figure {
	if e == nil {
		return figure{name, quantity{Value: unknown}, remarks(more...)}
	}
	interval := intervalOf(e, times, digits)
	if interval != "" {
		interval += " (95" + nbsp + "%)"
	}
	return figure{name, measured(new(e.Value/times), digits, unit), remarks(append([]string{interval}, more...)...)}
}

// intervalOf says where a value may lie, "" where that is not known.
func intervalOf(e *robust.Estimate, times float64, digits int) string {
	if math.IsNaN(e.Low) || math.IsNaN(e.High) || math.IsInf(e.Low, 0) || math.IsInf(e.High, 0) {
		return ""
	}
	return number(e.Low/times, digits) + " to " + number(e.High/times, digits)
}

// spread is a value with its unit and its 95 % interval in a text.
func spread(e *robust.Estimate, times float64, digits int, unit string) string {
	if e == nil {
		return unknown
	}
	words := measured(new(e.Value/times), digits, unit).String()
	if interval := intervalOf(e, times, digits); interval != "" {
		words += " (" + interval + ")"
	}
	return words
}

// sentence begins large and ends with a stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = printed(upperFirst(text))
	if last := text[len(text)-1]; last != '.' && last != '!' && last != '?' {
		text += "."
	}
	return text
}

// hoursFigure writes hours given in seconds.
func hoursFigure(s float64) quantity { return measured(new(s/3600), 1, "h") }

func sentences(texts []string) []string {
	var said []string
	for _, text := range texts {
		if text != "" {
			said = append(said, sentence(text))
		}
	}
	return said
}
