package load

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"

	"coldweek/ingest"
)

// split cuts a line into cells; it uses the memory of cells. Lines without a
// quote, nearly all, are cut at the separators; the rest is for encoding/csv,
// line by line, so that a stray quote cannot swallow the file.
func (lay *layout) split(cells [][]byte, line []byte) ([][]byte, error) {
	cells = cells[:0]
	if bytes.IndexByte(line, '"') >= 0 {
		return lay.splitQuoted(cells, line)
	}
	for {
		i := bytes.IndexByte(line, lay.separator)
		if i < 0 {
			return append(cells, line), nil
		}
		cells = append(cells, line[:i])
		line = line[i+1:]
	}
}

func (lay *layout) splitQuoted(cells [][]byte, line []byte) ([][]byte, error) {
	texts, err := splitCSV(line, lay.separator)
	if err != nil {
		return nil, fmt.Errorf("the quotes of the row do not pair: %w", err)
	}
	for _, text := range texts {
		cells = append(cells, []byte(text))
	}
	return cells, nil
}

// splitCSV reads one line as RFC 4180 says, spaces before a quote allowed.
func splitCSV(line []byte, separator byte) ([]string, error) {
	r := csv.NewReader(bytes.NewReader(line))
	r.Comma = rune(separator)
	r.TrimLeadingSpace = separator != '\t'
	return r.Read()
}

// checkCells refuses a row that cannot be laid under the header.
func (lay *layout) checkCells(cells [][]byte, whole bool) error {
	switch {
	case len(cells) > lay.cells && !blank(cells[lay.cells:]):
		return fmt.Errorf("the row has %d cells and the header names %d: is a decimal comma taken for a separator?", len(cells), lay.cells)
	case len(cells) < lay.cells && !whole:
		return fmt.Errorf("the last row is cut off after %d of %d cells", len(cells), lay.cells)
	}
	return nil
}

func blank(cells [][]byte) bool {
	for _, cell := range cells {
		if len(bytes.TrimSpace(cell)) > 0 {
			return false
		}
	}
	return true
}

// isMissing says whether a cell, without spaces around it, holds one of the
// usual ways to write that there is no value.
func isMissing(cell []byte) bool {
	switch len(cell) {
	case 0:
		return true
	case 1:
		return cell[0] == '-'
	case 2, 3, 4:
		if cell[0] <= '9' {
			return false
		}
		switch strings.ToLower(string(cell)) {
		case "nan", "na", "n/a", "null", "none":
			return true
		}
	}
	return false
}

// value reads a cell that is not missing.
func (lay *layout) value(in *ingest.Intake, cell []byte) (float64, error) {
	if lay.decimalComma {
		if i := bytes.IndexByte(cell, ','); i >= 0 {
			return lay.commaValue(in, cell, i)
		}
		if lay.pointRefused && bytes.IndexByte(cell, '.') >= 0 {
			return 0, &ingest.RefusedError{Reason: ingest.BadPayload, Detail: fmt.Sprintf(
				"%.40q has a point, but the file writes decimals with a comma: write thousands without a mark", cell)}
		}
	}
	return in.Text(string(cell))
}

// commaValue reads a number whose decimal comma is at i.
func (lay *layout) commaValue(in *ingest.Intake, cell []byte, i int) (float64, error) {
	if bytes.IndexByte(cell[i+1:], ',') >= 0 || bytes.IndexByte(cell, '.') >= 0 {
		return 0, &ingest.RefusedError{Reason: ingest.BadPayload, Detail: fmt.Sprintf(
			"%.40q has more than one mark: write the decimal comma alone, without marks for thousands", cell)}
	}
	var buffer [64]byte
	number := append(buffer[:0], cell...)
	number[i] = '.'
	return in.Text(string(number))
}
