package payload

import (
	"cmp"

	"github.com/valyala/fastjson"

	"coldweek/ingest"
)

// packVersion is the version of SenML understood, also the one that holds when
// a pack names none (RFC 8428 sections 4.1 and 4.4).
const packVersion = 10

// record is a SenML record to which the base fields are applied, as RFC 8428
// section 4.6 resolves it, apart from its time.
type record struct {
	source *fastjson.Value
	name   []byte
	unit   []byte
	timeS  float64 // absolute, or relative to now below relativeBelowS
	kind   valueKind
	number float64
	text   []byte
	err    error // why this record, and only it, cannot be used
}

// valueKind says which value field a record has (RFC 8428 section 4.2).
type valueKind int

const (
	noValue valueKind = iota // base fields only, as in section 5.1.7
	numberValue
	textValue
	truthValue
	dataValue
	sumValue
)

// fields are the labels of one record (RFC 8428 section 4.3).
type fields struct {
	bn, bt, bu, bv, bs, bver *fastjson.Value
	n, u, v, vs, vb, vd      *fastjson.Value
	s, t, ut                 *fastjson.Value
	mandatory                string // an unknown label that must be understood
}

// base holds the base fields in force.
type base struct {
	name, unit        []byte
	timeS, value, sum float64
	hasSum            bool
	version           float64 // 0 before the first record
}

// resolve fills s.records from a pack. An error is of the pack as a whole: when
// a base field cannot be read, what follows it cannot be either.
func (s *scratch) resolve(pack *fastjson.Value) error {
	s.records, s.names = s.records[:0], s.names[:0]
	if pack.Type() != fastjson.TypeArray {
		return refused(ingest.BadPayload, "a SenML pack is an array of records, such as [{\"n\":\"flow_temp\",\"u\":\"Cel\",\"v\":35.2}]; this is %s", article(pack))
	}
	var b base
	for _, element := range pack.GetArray() {
		if element.Type() != fastjson.TypeObject {
			return refused(ingest.BadPayload, "a SenML record is an object; there is %s in the pack", article(element))
		}
		f := readFields(element.GetObject())
		if err := s.apply(&b, &f); err != nil {
			return err
		}
		s.records = append(s.records, s.resolveRecord(&b, &f, element))
	}
	return nil
}

func readFields(o *fastjson.Object) (f fields) {
	o.Visit(func(label []byte, v *fastjson.Value) {
		if slot := f.slot(string(label)); slot != nil {
			*slot = v
		} else if n := len(label); n > 0 && label[n-1] == '_' {
			f.mandatory = string(label)
		}
	})
	return f
}

func (f *fields) slot(label string) **fastjson.Value {
	switch label {
	case "bn":
		return &f.bn
	case "bt":
		return &f.bt
	case "bu":
		return &f.bu
	case "bv":
		return &f.bv
	case "bs":
		return &f.bs
	case "bver":
		return &f.bver
	case "n":
		return &f.n
	case "u":
		return &f.u
	case "v":
		return &f.v
	case "vs":
		return &f.vs
	case "vb":
		return &f.vb
	case "vd":
		return &f.vd
	case "s":
		return &f.s
	case "t":
		return &f.t
	case "ut":
		return &f.ut
	}
	return nil
}

// apply takes a record's base fields.
func (s *scratch) apply(b *base, f *fields) error {
	if f.mandatory != "" {
		return refused(ingest.BadPayload, "the label %s must be understood to read this pack (RFC 8428 section 4.4), and is not", shorten(f.mandatory))
	}
	var err error
	if b.name, err = readText("bn", f.bn, b.name); err != nil {
		return err
	}
	if b.unit, err = readText("bu", f.bu, b.unit); err != nil {
		return err
	}
	if b.timeS, err = s.readNumber("bt", f.bt, b.timeS); err != nil {
		return err
	}
	if b.value, err = s.readNumber("bv", f.bv, b.value); err != nil {
		return err
	}
	if b.sum, err = s.readNumber("bs", f.bs, b.sum); err != nil {
		return err
	}
	version, err := s.readNumber("bver", f.bver, cmp.Or(b.version, packVersion))
	if err != nil {
		return err
	}
	b.hasSum = b.hasSum || f.bs != nil
	return b.settle(version)
}

// settle checks the version (RFC 8428 section 4.4).
func (b *base) settle(version float64) error {
	switch {
	case version > packVersion:
		return refused(ingest.BadPayload, "the pack has SenML version %g; versions up to %d are understood", version, packVersion)
	case version < 1 || version != float64(int(version)):
		return refused(ingest.BadPayload, "bver is %g; a version is a positive whole number", version)
	case b.version != 0 && version != b.version:
		return refused(ingest.BadPayload, "the pack changes its SenML version from %g to %g", b.version, version)
	}
	b.version = version
	return nil
}

// readNumber reads a number, or returns the other when it is missing.
func (s *scratch) readNumber(label string, v *fastjson.Value, other float64) (float64, error) {
	if v == nil {
		return other, nil
	}
	if v.Type() != fastjson.TypeNumber {
		return 0, refused(ingest.BadPayload, "%s is %s; it must be a number", label, article(v))
	}
	number, err := s.number(v)
	if err != nil {
		return 0, refused(reasonOf(err), "%s: %s", label, err)
	}
	return number, nil
}

// readText reads a string, or returns the other when it is missing.
func readText(label string, v *fastjson.Value, other []byte) ([]byte, error) {
	if v == nil {
		return other, nil
	}
	if v.Type() != fastjson.TypeString {
		return nil, refused(ingest.BadPayload, "%s is %s; it must be a string", label, article(v))
	}
	return text(v), nil
}

func (s *scratch) resolveRecord(b *base, f *fields, source *fastjson.Value) record {
	r := record{source: source}
	var name []byte
	if name, r.err = readText("n", f.n, nil); r.err != nil {
		return r
	}
	r.name = s.join(b.name, name)
	if r.unit, r.err = readText("u", f.u, b.unit); r.err != nil {
		return r
	}
	if r.timeS, r.err = s.readNumber("t", f.t, 0); r.err != nil {
		return r
	}
	r.timeS += b.timeS
	r.err = s.readValue(&r, b, f)
	return r
}

// join concatenates into memory that lasts as long as the records.
func (s *scratch) join(baseName, name []byte) []byte {
	start := len(s.names)
	s.names = append(append(s.names, baseName...), name...)
	return s.names[start:len(s.names):len(s.names)]
}

// readValue takes the one value field of a record (RFC 8428 section 4.2), or
// its sum when it has none.
func (s *scratch) readValue(r *record, b *base, f *fields) error {
	present := 0
	for kind, v := range [...]*fastjson.Value{numberValue: f.v, textValue: f.vs, truthValue: f.vb, dataValue: f.vd} {
		if v != nil {
			r.kind = valueKind(kind)
			present++
		}
	}
	var err error
	switch {
	case present > 1:
		return refused(ingest.BadPayload, "the record has %d values; v, vs, vb and vd exclude each other", present)
	case r.kind == numberValue:
		r.number, err = s.readSum("v", f.v, b.value)
	case r.kind == textValue:
		r.text, err = readText("vs", f.vs, nil)
	case r.kind == truthValue:
		r.text, err = readTruth(f.vb)
	case r.kind == dataValue:
	case f.s != nil || b.hasSum && f.n != nil:
		r.kind = sumValue
		r.number, err = s.readSum("s", f.s, b.sum)
	case f.n != nil || f.u != nil || f.t != nil || f.ut != nil:
		return refused(ingest.BadPayload, "the record has no value: v, vs, vb or s is needed")
	}
	return err
}

// readSum reads a value or sum and adds its base (RFC 8428 section 4.5.4).
func (s *scratch) readSum(label string, v *fastjson.Value, base float64) (float64, error) {
	number, err := s.readNumber(label, v, 0)
	if base != 0 {
		number = ingest.TidyDecimal(number + base)
	}
	return number, err
}

func readTruth(v *fastjson.Value) ([]byte, error) {
	if kind := v.Type(); kind != fastjson.TypeTrue && kind != fastjson.TypeFalse {
		return nil, refused(ingest.BadPayload, "vb is %s; it must be true or false", article(v))
	}
	return []byte(v.Type().String()), nil
}

// text returns a JSON string as it lies in the parser's memory.
func text(v *fastjson.Value) []byte {
	raw, err := v.StringBytes()
	if err != nil {
		return nil
	}
	return raw
}
