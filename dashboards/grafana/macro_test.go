package grafana_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// span is a range of time with what Grafana makes of it.
type span struct {
	from, to time.Time
	scrape   time.Duration // the source's own interval
}

// chosen are the values chosen of each variable.
type chosen map[string]values

// values of a variable; none of the site stand for All.
type values []string

// allSites is what All stands for in the variable site.
const allSites = ".*"

// expand puts values for variables and macros as Grafana's documentation of
// variable formats, of InfluxDB and of Prometheus says.
func expand(t *testing.T, text, interval string, s span, c chosen) string {
	t.Helper()
	step := s.step(t, interval)
	rate := max(step+s.scrape, 4*s.scrape)
	pairs := []string{
		"$timeFilter", fmt.Sprintf("time >= %dms and time <= %dms", s.from.UnixMilli(), s.to.UnixMilli()),
		"$__interval", seconds(step), "$__rate_interval", seconds(rate), "$__range", seconds(s.to.Sub(s.from)),
	}
	for name, v := range c {
		pairs = append(pairs, "${"+name+":raw}", v.raw(), "${"+name+":regex}", v.regex(), "$"+name, v.prometheus())
	}
	expanded := strings.NewReplacer(pairs...).Replace(text)
	assert.NotRegexp(t, `\$(\w|\{)`, expanded, "a macro that is not known")
	return expanded
}

// width is how many points a panel has room for.
const width = 1000

// step is the interval that gives each point its place, but not less than the
// panel's least.
func (s span) step(t *testing.T, least string) time.Duration {
	t.Helper()
	step := s.to.Sub(s.from) / width
	switch least {
	case "":
		return step
	case "1d":
		return max(step, 24*time.Hour)
	}
	atLeast, err := time.ParseDuration(least)
	assert.NoError(t, err)
	return max(step, atLeast)
}

func seconds(d time.Duration) string { return fmt.Sprintf("%ds", int(d.Seconds())) }

func (v values) raw() string { return strings.Join(v, ",") }

// regex escapes each value, and puts several in brackets with strokes between.
func (v values) regex() string {
	switch len(v) {
	case 0:
		return allSites
	case 1:
		return escaped(v[0])
	}
	var all []string
	for _, id := range v {
		all = append(all, escaped(id))
	}
	return "(" + strings.Join(all, "|") + ")"
}

// prometheus escapes twice where a value stands in PromQL's quotes.
func (v values) prometheus() string { return strings.ReplaceAll(v.regex(), `\`, `\\`) }

var special = regexp.MustCompile(`[\\^$*+?.()|\[\]{}/]`)

func escaped(value string) string { return special.ReplaceAllString(value, `\$0`) }
