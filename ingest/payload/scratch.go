package payload

import (
	"bytes"
	"strings"
	"sync"

	"github.com/valyala/fastjson"

	"coldweek/ingest"
)

// maxDepth is how deep a message may be nested. Telemetry needs a handful;
// without a bound a small hostile message costs the parser much work.
const maxDepth = 32

// scratch is what decoding one JSON message needs and the next can use again.
type scratch struct {
	parser  fastjson.Parser
	buffer  []byte
	records []record
	names   []byte
}

type scratchPool struct{ pool sync.Pool }

func (p *scratchPool) get() *scratch {
	if s, ok := p.pool.Get().(*scratch); ok {
		return s
	}
	return &scratch{}
}

func (p *scratchPool) put(s *scratch) { p.pool.Put(s) }

// parse returns the document, valid until the scratch is used again.
func (s *scratch) parse(body []byte) (*fastjson.Value, error) {
	if tooDeep(body) {
		return nil, refused(ingest.BadPayload, "the JSON is nested deeper than %d levels", maxDepth)
	}
	v, err := s.parser.ParseBytes(body)
	if err != nil {
		return nil, refused(ingest.BadPayload, "no valid JSON: %.200s", err)
	}
	return v, nil
}

// tooDeep says whether brackets nest deeper than maxDepth. Few messages have so
// many brackets at all that they must be paired to know.
func tooDeep(body []byte) bool {
	if bytes.Count(body, []byte{'['})+bytes.Count(body, []byte{'{'}) <= maxDepth {
		return false
	}
	depth, inString := 0, false
	for i := 0; i < len(body); i++ {
		switch c := body[i]; {
		case c == '"':
			inString = !inString
		case inString:
			if c == '\\' {
				i++
			}
		case c == '[' || c == '{':
			if depth++; depth > maxDepth {
				return true
			}
		case c == ']' || c == '}':
			depth--
		}
	}
	return false
}

// take reads a value: a number, or a text or truth value an intake knows.
func (s *scratch) take(in *ingest.Intake, v *fastjson.Value) (float64, error) {
	switch v.Type() {
	case fastjson.TypeNumber:
		number, err := s.number(v)
		if err != nil {
			return 0, err
		}
		return in.Number(number)
	case fastjson.TypeString:
		return in.Text(string(text(v)))
	case fastjson.TypeTrue:
		return in.Text("true")
	case fastjson.TypeFalse:
		return in.Text("false")
	}
	return 0, refused(ingest.BadPayload, "the value is %s, neither a number nor a text", article(v))
}

// number reads a JSON number correctly rounded, which the parser's own does
// not promise.
func (s *scratch) number(v *fastjson.Value) (float64, error) {
	s.buffer = v.MarshalTo(s.buffer[:0])
	return ingest.ParseNumber(string(s.buffer))
}

// article names what a value is.
func article(v *fastjson.Value) string {
	name := v.Type().String()
	if strings.ContainsAny(name[:1], "aeo") {
		return "an " + name
	}
	return "a " + name
}
