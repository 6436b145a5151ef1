// Package scenario reads scenario scripts: tests that a heating engineer can
// read and write. A script gives a few lines of readings in shorthand and what
// must come out.
//
//	# A defrost inside a run is no stop.
//	from 2026-01-14 06:00 Europe/London every 30s
//	power        12*20  1600*120  700*10  1700*90  12*20
//	flow_rate    0*20   1200*220  0*20
//	flow_temp    30*20  30>36*20  36*100  36>29*10  36*90  30*20
//	return_temp  30*20  30>31*20  31*100  31*10  31*90  30*20
//	expect cycling.starts 1
//	expect defrost.minutes 5 within 1
//	expect heat.net_kwh 11.3 within 2%
//
// Readings are v*n, n samples of v; a>b*n, n samples on a straight line from a
// to b, both included; -*n, n samples missing. A line may be given again to go
// on where it ended. Expectations name a key of the answer of `coldweek
// analyse --json`; null is a value too. Lines below `site:` up to an empty line
// are part of a site record.
package scenario

import (
	"bufio"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"coldweek/ingest"
)

// Scenario is one script.
type Scenario struct {
	From    time.Time
	Every   time.Duration
	Columns []ingest.Column // in the order first named
	Record  string          // YAML, without id and time_zone
	Expect  []Expectation
}

// To returns the end of the last sample's interval.
func (s *Scenario) To() time.Time {
	last := s.From.UnixMilli()
	for _, c := range s.Columns {
		if c.Len() > 0 {
			last = max(last, c.UnixMS[c.Len()-1])
		}
	}
	return time.UnixMilli(last).In(s.From.Location()).Add(s.Every)
}

// Expectation is one figure that must come out.
type Expectation struct {
	Line   int
	Key    string // dotted path, as in heat.net_kwh
	Text   string // the figure or word as written
	Value  float64
	Within float64 // allowed difference, in the figure's own unit
	Number bool
}

// Parse reads a script. Errors name the line.
func Parse(text string) (*Scenario, error) {
	p := parser{s: &Scenario{}, next: map[ingest.Channel]int{}}
	lines := bufio.NewScanner(strings.NewReader(text))
	for n := 1; lines.Scan(); n++ {
		if err := p.line(n, lines.Text()); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
	}
	if p.s.Every == 0 {
		return nil, fmt.Errorf("no line says when it begins; write: from 2026-01-14 06:00 Europe/London every 30s")
	}
	return p.s, lines.Err()
}

type parser struct {
	s        *Scenario
	next     map[ingest.Channel]int // samples given so far
	inRecord bool
}

func (p *parser) line(n int, line string) error {
	if p.inRecord && strings.TrimSpace(line) != "" {
		p.s.Record += strings.TrimPrefix(line, "  ") + "\n"
		return nil
	}
	p.inRecord = false
	line, _, _ = strings.Cut(line, "#")
	words := strings.Fields(line)
	if len(words) == 0 {
		return nil
	}
	switch words[0] {
	case "site:":
		p.inRecord = true
		return nil
	case "from":
		return p.from(words)
	case "expect":
		return p.expect(n, words[1:])
	}
	return p.readings(words)
}

func (p *parser) from(words []string) error {
	const form = "write: from 2026-01-14 06:00 Europe/London every 30s"
	if len(words) != 6 || words[4] != "every" {
		return fmt.Errorf("%q: %s", strings.Join(words, " "), form)
	}
	zone, err := time.LoadLocation(words[3])
	if err != nil {
		return fmt.Errorf("time zone %q: %w", words[3], err)
	}
	if p.s.From, err = time.ParseInLocation("2006-01-02 15:04", words[1]+" "+words[2], zone); err != nil {
		return fmt.Errorf("time %q: %s", words[1]+" "+words[2], form)
	}
	if p.s.Every, err = time.ParseDuration(words[5]); err != nil || p.s.Every <= 0 {
		return fmt.Errorf("spacing %q: write a length such as 30s", words[5])
	}
	return nil
}

func (p *parser) readings(words []string) error {
	channel, err := ingest.ParseChannel(words[0])
	if err != nil {
		return err
	}
	if p.s.Every == 0 {
		return fmt.Errorf("readings before the line that says from when")
	}
	column := p.column(channel)
	for _, word := range words[1:] {
		values, err := samples(channel, word)
		if err != nil {
			return err
		}
		for _, v := range values {
			if !math.IsNaN(v) {
				at := p.s.From.Add(time.Duration(p.next[channel]) * p.s.Every)
				column.UnixMS = append(column.UnixMS, at.UnixMilli())
				column.Value = append(column.Value, v)
			}
			p.next[channel]++
		}
	}
	return nil
}

func (p *parser) column(channel ingest.Channel) *ingest.Column {
	for i := range p.s.Columns {
		if p.s.Columns[i].Channel == channel {
			return &p.s.Columns[i]
		}
	}
	p.s.Columns = append(p.s.Columns, ingest.Column{Channel: channel})
	return &p.s.Columns[len(p.s.Columns)-1]
}

// samples reads one shorthand; a missing sample is NaN.
func samples(channel ingest.Channel, word string) ([]float64, error) {
	shape, times, repeated := strings.Cut(word, "*")
	count := 1
	if repeated {
		var err error
		if count, err = strconv.Atoi(times); err != nil || count < 1 {
			return nil, fmt.Errorf("%s: %q: write value*count with a count of 1 or more", channel, word)
		}
	}
	first, last, ramp := strings.Cut(shape, ">")
	from, err := value(channel, first)
	if err != nil {
		return nil, err
	}
	to := from
	if ramp {
		if to, err = value(channel, last); err != nil {
			return nil, err
		}
	}
	values := make([]float64, count)
	for i := range values {
		values[i] = from
		if count > 1 {
			values[i] += (to - from) * float64(i) / float64(count-1)
		}
	}
	return values, nil
}

func value(channel ingest.Channel, word string) (float64, error) {
	if word == "-" {
		return math.NaN(), nil
	}
	if channel.Quantity() == ingest.ModeQuantity {
		mode, err := ingest.ParseMode(word)
		return float64(mode), err
	}
	v, err := strconv.ParseFloat(word, 64)
	if err != nil {
		return 0, fmt.Errorf("%s: %q is no number", channel, word)
	}
	return v, channel.Quantity().CheckValue(v)
}

func (p *parser) expect(n int, words []string) error {
	if len(words) != 2 && (len(words) != 4 || words[2] != "within") {
		return fmt.Errorf("expect %s: write: expect heat.net_kwh 11.3 within 2%%", strings.Join(words, " "))
	}
	e := Expectation{Line: n, Key: words[0], Text: words[1]}
	var err error
	if e.Value, err = strconv.ParseFloat(words[1], 64); err == nil {
		e.Number = true
	}
	if len(words) == 4 {
		if e.Within, err = tolerance(words[3], e.Value); err != nil {
			return err
		}
	}
	p.s.Expect = append(p.s.Expect, e)
	return nil
}

func tolerance(word string, of float64) (float64, error) {
	number, isShare := strings.CutSuffix(word, "%")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || v < 0 {
		return 0, fmt.Errorf("tolerance %q: write a number or a percentage", word)
	}
	if isShare {
		return math.Abs(of) * v / 100, nil
	}
	return v, nil
}
