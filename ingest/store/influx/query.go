package influx

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/tinylib/msgp/msgp"
)

// msgPack is the format asked for: as exact as binary numbers are, and the
// cheapest to read. InfluxDB 2 knows it when Accept says just this
// (influxql/query_request.go, EncodingFormatFromMimeType).
const msgPack = "application/x-msgpack"

// head describes the rows that follow.
type head struct {
	statement int // of the query, from 0
	tags      map[string]string
	columns   []string // the first is time
}

// tag returns the tag of that name as it was before escaping.
func (h *head) tag(name string) string { return unescapeName(h.tags[name]) }

// cell is one value of an answer.
type cell struct {
	kind  msgp.Type // NilType, IntType, Float64Type, StrType or BoolType
	whole int64     // of IntType
	real  float64   // of Float64Type and IntType
	text  string
	yes   bool
}

func (c *cell) isNumber() bool { return c.kind == msgp.Float64Type || c.kind == msgp.IntType }

// rows is called for each row; the cells are reused.
type rows func(h *head, row []cell) error

// query runs an InfluxQL statement and hands on the rows as they come. Answers
// are chunked, so neither side holds them whole.
func (s *Store) query(ctx context.Context, statement string, each rows) error {
	return s.queryAll(ctx, []string{statement}, each)
}

// queryAll runs several statements in one request.
func (s *Store) queryAll(ctx context.Context, statements []string, each rows) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	inner, patience := patient(ctx, s.options.Timeout)
	defer patience.end()
	answer, err := s.ask(inner, strings.Join(statements, ";"))
	if err != nil {
		return s.down(s.unanswered(ctx, inner, err))
	}
	defer func() { _ = answer.Body.Close() }()
	body := patientReader{answer.Body, patience}
	if answer.StatusCode != http.StatusOK {
		return s.refusedQuery(answer.StatusCode, body)
	}
	if err := s.checkVersion(answer.Header); err != nil {
		return err
	}
	err = decodeAnswer(body, len(statements), each)
	if broken := (*brokenAnswer)(nil); errors.As(err, &broken) {
		return s.down(s.unanswered(ctx, inner, err))
	}
	s.stats.up()
	return s.advise(err)
}

// advise says what would be right when a statement finds no bucket, which both
// versions tell within an answer of status 200.
func (s *Store) advise(err error) error {
	if said := (*statementError)(nil); errors.As(err, &said) && strings.Contains(said.text, "not found") {
		return fmt.Errorf("%w: make bucket %q (on InfluxDB 1.8 CREATE DATABASE), or correct bucket or url", err, s.options.Bucket)
	}
	return err
}

// ask posts the statements: DELETE needs POST, and both versions take the form
// (services/httpd/handler.go of 1.8.10, http/legacy/influxqld_handler.go of 2).
// Both know Authorization: Token, which is user:password on 1.8
// (parseCredentials there, http/legacy/influx1x_authentication_handler.go in 2).
// A bucket without a slash is database and default policy in 2 with no mapping
// set up (dbrp/service.go, bucketToMapping).
func (s *Store) ask(ctx context.Context, statements string) (*http.Response, error) {
	form := url.Values{"db": {s.database}, "q": {statements}, "epoch": {"ms"}, "chunked": {"true"}}
	if s.policy != "" {
		form.Set("rp", s.policy)
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, s.address+"/query", strings.NewReader(form.Encode()))
	if err != nil {
		return nil, err
	}
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	request.Header.Set("Accept", msgPack)
	request.Header.Set("Accept-Encoding", "identity") // packing costs more time than it saves in a LAN
	request.Header["Idempotency-Key"] = []string{}    // asked again on a new connection when an idle one has gone
	if s.options.Token != "" {
		request.Header.Set("Authorization", "Token "+s.options.Token)
	}
	return s.http.Do(request)
}

// checkVersion remembers which version answers; both say so with each answer
// (http/handler.go of 2, buildHeader). There SHOW TAG VALUES and DELETE go to
// the default policy of a database only (v1/coordinator/statement_executor.go).
func (s *Store) checkVersion(header http.Header) error {
	version := strings.TrimPrefix(header.Get("X-Influxdb-Version"), "v")
	s.isV2.Store(strings.HasPrefix(version, "2."))
	if s.isV2.Load() && s.policy != "" {
		return fmt.Errorf("bucket %q: InfluxDB %s needs a bucket without a slash", s.options.Bucket, version)
	}
	return nil
}

const longestRefusal = 4096 // bytes read of an answer that is no success

// refusedQuery says why a query was not answered.
func (s *Store) refusedQuery(status int, body io.Reader) error {
	text, err := io.ReadAll(io.LimitReader(body, longestRefusal))
	if err != nil && len(text) == 0 {
		text = []byte(err.Error())
	}
	refused := s.explainStatus(status, refusalText(text))
	if matterOf(refused) == passing {
		return s.down(refused)
	}
	return refused
}

// refusalText finds the message in an answer: JSON of either version,
// MessagePack as asked for, or what a proxy says.
func refusalText(body []byte) string {
	var message struct{ Error, Message string }
	if json.Unmarshal(body, &message) == nil && message.Error+message.Message != "" {
		return message.Error + message.Message
	}
	if said := (*statementError)(nil); errors.As(decodeAnswer(bytes.NewReader(body), 0, nil), &said) {
		return said.text
	}
	return strings.TrimSpace(strings.ToValidUTF8(string(body), "?"))
}

// statementError is what the server says is wrong with a statement.
type statementError struct{ text string }

func (e *statementError) Error() string { return "InfluxDB says: " + e.text }

// brokenAnswer is an answer that stops or cannot be read.
type brokenAnswer struct{ err error }

func (e *brokenAnswer) Error() string { return "its answer broke off: " + e.err.Error() }

func (e *brokenAnswer) Unwrap() error { return e.err }

// decodeAnswer reads the chunks of an answer, each a document of its own:
//
//	{"results": [{"statement_id": 0, "series": [{"name", "tags", "columns", "values", "partial"}], "partial"}]}
//
// or with "error" in place of results, or of a result's other entries. An
// answer that ends while more was to come, or before the last statement's, is
// broken.
func decodeAnswer(r io.Reader, statements int, each rows) error {
	d := &decoder{Reader: msgp.NewReaderSize(r, 64<<10), each: each}
	for {
		if _, err := d.NextType(); err == io.EOF {
			if d.answered < statements || d.partial {
				return &brokenAnswer{io.ErrUnexpectedEOF}
			}
			return nil
		}
		if err := d.document(); err != nil {
			if d.said != nil {
				return d.said
			}
			return &brokenAnswer{err}
		}
	}
}

type decoder struct {
	*msgp.Reader
	each     rows
	head     head
	row      []cell
	key      []byte
	answered int   // statements
	partial  bool  // the last result is to be continued
	said     error // of the server or of each, in no way the stream's
}

func (d *decoder) document() error {
	return d.entries(func(key string) error {
		switch key {
		case "error":
			return d.fail()
		case "results":
			return d.list(d.result)
		}
		return d.Skip()
	})
}

func (d *decoder) result() error {
	d.partial = false
	return d.entries(func(key string) (err error) {
		switch key {
		case "error":
			return d.fail()
		case "statement_id":
			d.head.statement, err = d.ReadInt()
			d.answered = d.head.statement + 1
			return err
		case "partial":
			d.partial, err = d.ReadBool()
			return err
		case "series":
			return d.list(d.series)
		}
		return d.Skip()
	})
}

// series reads a table; name, tags and columns come before the values.
func (d *decoder) series() error {
	d.head.tags, d.head.columns = nil, nil
	return d.entries(func(key string) error {
		switch key {
		case "tags":
			d.head.tags = make(map[string]string)
			return d.entries(func(tag string) (err error) {
				d.head.tags[tag], err = d.ReadString()
				return err
			})
		case "columns":
			return d.list(func() error {
				name, err := d.ReadString()
				d.head.columns = append(d.head.columns, name)
				return err
			})
		case "values":
			d.row = slices.Grow(d.row[:0], len(d.head.columns))[:len(d.head.columns)]
			return d.list(d.values)
		}
		return d.Skip()
	})
}

func (d *decoder) values() error {
	n, err := d.ReadArrayHeader()
	if err != nil {
		return err
	}
	if int(n) != len(d.row) {
		return fmt.Errorf("a row of %d values for %d columns", n, len(d.row))
	}
	for i := range d.row {
		if err := d.cell(&d.row[i]); err != nil {
			return err
		}
	}
	if d.each == nil {
		return nil
	}
	if d.said = d.each(&d.head, d.row); d.said != nil {
		return d.said
	}
	return nil
}

func (d *decoder) cell(c *cell) (err error) {
	kind, err := d.NextType()
	if err != nil {
		return err
	}
	switch kind {
	case msgp.Float64Type:
		c.real, err = d.ReadFloat64()
	case msgp.IntType, msgp.UintType:
		kind = msgp.IntType
		c.whole, err = d.ReadInt64()
		c.real = float64(c.whole)
	case msgp.StrType:
		c.text, err = d.ReadString()
	case msgp.BoolType:
		c.yes, err = d.ReadBool()
	case msgp.NilType:
		err = d.ReadNil()
	default:
		err = fmt.Errorf("a value of type %s", kind)
	}
	c.kind = kind
	return err
}

// fail reads what the server says is wrong.
func (d *decoder) fail() error {
	said, err := d.ReadString()
	if err != nil {
		return err
	}
	d.said = &statementError{said}
	return d.said
}

func (d *decoder) entries(each func(key string) error) error {
	n, err := d.ReadMapHeader()
	for range n {
		if err != nil {
			break
		}
		if d.key, err = d.ReadMapKey(d.key); err == nil {
			err = each(string(d.key))
		}
	}
	return err
}

func (d *decoder) list(each func() error) error {
	n, err := d.ReadArrayHeader()
	for range n {
		if err != nil {
			break
		}
		err = each()
	}
	return err
}
