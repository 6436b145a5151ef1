package grafana

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

// The colours of lines and bars. Each has a contrast of 3:1 against Grafana's
// dark and light ground, and any two keep a difference (CIEDE2000) of 20 for
// usual, protan, deutan and tritan sight; colour_test.go measures both.
const (
	ochre  = "#bd8c14" // flow temperature, space heating
	blue   = "#6291fd" // return temperature, defrost
	green  = "#127552" // room temperature
	purple = "#83568c" // flow target, hot water
	grey   = "#959296" // outdoor temperature, standby
)

// The colours of states, used beside their words; they keep a difference of 14.
const (
	fine    = blue
	notable = ochre
	alarm   = "#e02d63"
)

// plain is the colour of Grafana's own text.
const plain = "text"

// steps are the limits from which on a value has another colour, from the least.
func steps(first string, next ...dashboard.Threshold) *dashboard.ThresholdsConfigBuilder {
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).
		Steps(append([]dashboard.Threshold{{Color: first}}, next...))
}

func from(value float64, colour string) dashboard.Threshold {
	return dashboard.Threshold{Value: &value, Color: colour}
}

// severities colours the words of findings.
func severities() dashboard.DynamicConfigValue {
	options := map[string]dashboard.ValueMappingResult{}
	for i, s := range []struct{ name, colour string }{{"urgent", alarm}, {"attention", notable}, {"info", grey}} {
		options[s.name] = dashboard.ValueMappingResult{Text: &s.name, Color: &s.colour, Index: new(int32(i))}
	}
	return prop("mappings", []dashboard.ValueMap{{Type: dashboard.MappingTypeValueToText, Options: options}})
}
