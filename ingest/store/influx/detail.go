package influx

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"slices"
	"strconv"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/klauspost/compress/gzip"
)

// A site day or a finding keeps, besides figures that other tools can draw:
//
//	figures       names of the figures, comma-separated: what else the point holds was left by an earlier one
//	detail_parts  how many strings the detail takes
//	detail, detail_1, ...
const (
	figuresField     = "figures"
	detailPartsField = "detail_parts"
	detailField      = "detail"
)

// InfluxDB holds strings of up to 64 KiB (65,535 bytes in the write-ahead log
// and blocks of 1.8); this many bytes make 60,000 characters of base64.
const detailPartBytes = 45_000

// mostDetail bounds what a damaged detail can unpack to.
const mostDetail = 256 << 20

// putFigures adds the figures, each under its field's name, and returns these.
func (e *encoder) putFigures(figures map[string]float64, field func(name string) string) ([]string, error) {
	var fields []string
	for name, v := range figures {
		value, finite := lineprotocol.FloatValue(v)
		if !finite || name == "" {
			return nil, fmt.Errorf("%q is %g; only finite values with a name can be kept", name, v)
		}
		e.AddField(field(name), value)
		fields = append(fields, field(name))
	}
	slices.Sort(fields)
	e.AddField(figuresField, lineprotocol.MustNewValue(listFields(fields)))
	return fields, nil
}

// putDetail adds the detail, packed.
func (e *encoder) putDetail(detail []byte) error {
	var packed bytes.Buffer
	if len(detail) > 0 {
		w := gzip.NewWriter(&packed)
		if _, err := w.Write(detail); err != nil {
			return err
		}
		if err := w.Close(); err != nil {
			return err
		}
	}
	parts := slices.Collect(slices.Chunk(packed.Bytes(), detailPartBytes))
	e.AddField(detailPartsField, lineprotocol.IntValue(int64(len(parts))))
	for i, part := range parts {
		e.AddField(detailPart(i), lineprotocol.MustNewValue(base64.StdEncoding.EncodeToString(part)))
	}
	return nil
}

func detailPart(i int) string {
	if i == 0 {
		return detailField
	}
	return detailField + "_" + strconv.Itoa(i)
}

// record is a row by the names of its columns.
type record map[string]cell

func recordOf(h *head, row []cell) record {
	r := make(record, len(row))
	for i, name := range h.columns {
		r[name] = row[i]
	}
	return r
}

// figures returns the figures by the names they had.
func (r record) figures(name func(field string) string) map[string]float64 {
	fields := fieldList(r[figuresField].text)
	if len(fields) == 0 {
		return nil
	}
	figures := make(map[string]float64, len(fields))
	for _, field := range fields {
		figures[name(field)] = r[field].real
	}
	return figures
}

func (r record) detail() ([]byte, error) {
	parts := int(r[detailPartsField].whole)
	if parts == 0 {
		return nil, nil
	}
	var packed []byte
	for i := range parts {
		part, err := base64.StdEncoding.DecodeString(r[detailPart(i)].text)
		if err != nil {
			return nil, fmt.Errorf("field %s: %w", detailPart(i), err)
		}
		packed = append(packed, part...)
	}
	unpacked, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("detail: %w", err)
	}
	detail, err := io.ReadAll(io.LimitReader(unpacked, mostDetail))
	if err != nil {
		return nil, fmt.Errorf("detail: %w", err)
	}
	return detail, nil
}
