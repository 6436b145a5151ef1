package web

import (
	"fmt"
	"math"

	"coldweek/analysis/robust"
)

// estimated is a figure with its 95 % interval, in a unit so many times larger; nil
// is not known.
func estimated(name string, e *robust.Estimate, times float64, digits int, unit string, more ...string) figure {
	if e == nil {
		return figure{name, quantity{Value: unknown}, remarks(more...)}
	}
	value := e.Value / times
	return figure{name, measured(&value, digits, unit), remarks(append([]string{intervalOf(e, times, digits)}, more...)...)}
}

// intervalOf says where a value may lie.
func intervalOf(e *robust.Estimate, times float64, digits int) string {
	if e == nil || math.IsNaN(e.Low) || math.IsNaN(e.High) || math.IsInf(e.Low, 0) || math.IsInf(e.High, 0) {
		return ""
	}
	return fmt.Sprintf("%s to %s (95%s%%)", number(e.Low/times, digits), number(e.High/times, digits), nbsp)
}

// spread is a value with its unit and its 95 % interval in a text.
func spread(e *robust.Estimate, times float64, digits int, unit string) string {
	if e == nil {
		return unknown
	}
	words := measured(new(e.Value/times), digits, unit).String()
	if math.IsNaN(e.Low) || math.IsNaN(e.High) || math.IsInf(e.Low, 0) || math.IsInf(e.High, 0) {
		return words
	}
	return fmt.Sprintf("%s (%s to %s)", words, number(e.Low/times, digits), number(e.High/times, digits))
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
