package load

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// column is one channel of the file.
type column struct {
	index   int // in the row
	name    string
	channel ingest.Channel
	source  site.Source // of the unit and the values
	intake  *ingest.Intake

	points
	refusals int64 // so far, in all runs
}

// layout is how a file is to be read.
type layout struct {
	separator    byte
	decimalComma bool // numbers may have one
	pointRefused bool // and the file shows that it means it
	cells        int  // the header names so many
	time         column
	columns      []*column
	warnings     []string
}

// all returns the column of times and the channels.
func (lay *layout) all() []*column { return append([]*column{&lay.time}, lay.columns...) }

// digest says how the file is read, to tell whether that has changed.
func (lay *layout) digest() string {
	var b strings.Builder
	fmt.Fprintf(&b, "separator %q time %d", lay.separator, lay.time.index)
	for _, c := range lay.columns {
		fmt.Fprintf(&b, " %d %q %q %v", c.index, c.channel, string(c.source.Unit), c.source.Values)
	}
	return b.String()
}

// readLayout reads up to the header row.
func readLayout(l *lines, record *site.Record, opts Options) (*layout, error) {
	line, hint, err := headerLine(l)
	if err != nil {
		return nil, err
	}
	lay := &layout{separator: hint}
	if hint == 0 {
		lay.separator = guessSeparator(line)
	}
	names, err := splitHeader(line, lay.separator)
	if err != nil {
		return nil, err
	}
	if err := lay.assign(names, record, opts); err != nil {
		return nil, err
	}
	if lay.separator != ',' {
		lay.decimalComma = true
		lay.pointRefused = hasDecimalComma(l.peek(sniffed), lay.separator)
	}
	return lay, nil
}

// headerLine skips comments and blank lines. Spreadsheets may put "sep=;"
// before the header; then hint is that separator.
func headerLine(l *lines) (line []byte, hint byte, err error) {
	for {
		line, err = l.next()
		if errors.Is(err, io.EOF) {
			return nil, 0, errors.New("there is no header row: the file is empty")
		}
		if err != nil {
			return nil, 0, err
		}
		if l.number == 1 {
			line = bytes.TrimPrefix(line, byteOrderMark)
		}
		text := bytes.TrimSpace(line)
		if separator, ok := bytes.CutPrefix(text, []byte("sep=")); ok && len(separator) == 1 {
			hint = separator[0]
		} else if len(text) > 0 && text[0] != '#' {
			return line, hint, checkHeaderText(line)
		}
	}
}

func checkHeaderText(line []byte) error {
	switch {
	case bytes.ContainsRune(line, '\r'):
		return errors.New("lines end in a carriage return alone: save the file with newlines")
	case bytes.IndexByte(line, 0) >= 0:
		return errors.New("the header holds zero bytes: the file is no text, or UTF-16; save it as UTF-8 CSV")
	case !utf8.Valid(line):
		return errors.New("the header is not UTF-8: save the file as UTF-8 CSV")
	}
	return nil
}

// guessSeparator returns the separator that is in the header most often.
func guessSeparator(header []byte) byte {
	best, most := byte(','), 0
	for _, candidate := range []byte{',', ';', '\t'} {
		if n := bytes.Count(header, []byte{candidate}); n > most {
			best, most = candidate, n
		}
	}
	return best
}

func splitHeader(line []byte, separator byte) ([]string, error) {
	names, err := splitCSV(line, separator)
	if err != nil {
		return nil, fmt.Errorf("read the header row: %w", err)
	}
	for i, name := range names {
		names[i] = strings.TrimSpace(name)
	}
	for len(names) > 0 && names[len(names)-1] == "" {
		names = names[:len(names)-1]
	}
	return names, nil
}

// assign finds the channel of every column.
func (lay *layout) assign(names []string, record *site.Record, opts Options) error {
	lay.cells = len(names)
	timeName := opts.TimeColumn
	if timeName == "" {
		timeName = "time"
	}
	at := slices.IndexFunc(names, func(name string) bool { return strings.EqualFold(name, timeName) })
	if at < 0 {
		return fmt.Errorf("the header has no column %q: name the column of times so (its columns: %s)", timeName, list(names))
	}
	lay.time = column{index: at, name: names[at]}
	mapped := mappedColumns(record)
	var errs []error
	for i, name := range names {
		switch {
		case i == at:
		case slices.Contains(opts.Ignore, name):
			lay.warnings = append(lay.warnings, fmt.Sprintf("column %q is left out as asked", name))
		default:
			errs = append(errs, lay.assignOne(i, name, mapped, record, opts.SkipUnknown))
		}
	}
	for _, name := range opts.Ignore {
		if !slices.Contains(names, name) {
			lay.warnings = append(lay.warnings, fmt.Sprintf("there is no column %q to leave out", name))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	if len(lay.columns) == 0 {
		return fmt.Errorf("no column beside %q is a channel plus its unit, such as %q, or mapped in the site record (columns: %s)",
			timeName, ingest.Channel(ingest.FlowTemp).ColumnName(), list(names))
	}
	return nil
}

// assignOne adds the column to the layout. A mapping goes before the name.
func (lay *layout) assignOne(i int, name string, mapped map[string]ingest.Channel, record *site.Record, skipUnknown bool) error {
	c, isMapped := mapped[name]
	source := record.Channels[c]
	if !isMapped {
		var err error
		if c, source.Unit, err = ingest.ParseColumn(strings.ToLower(name)); err != nil && skipUnknown {
			lay.warnings = append(lay.warnings, fmt.Sprintf("column %q is left out: it is no channel plus its unit, and not mapped", name))
			return nil
		} else if err != nil {
			return unknownColumn(i, name, mapped, err)
		}
		source.Values = record.Channels[c].Values
	}
	for _, other := range lay.columns {
		if other.channel == c {
			return fmt.Errorf("columns %q and %q are both channel %q", other.name, name, c)
		}
	}
	in, err := ingest.NewIntake(c.Quantity(), source.Unit, source.Values)
	if err != nil {
		return fmt.Errorf("column %q, channel %q: %w", name, c, err)
	}
	lay.columns = append(lay.columns, &column{index: i, name: name, channel: c, source: source, intake: in})
	return nil
}

// unknownColumn adds the nearest mapped column to what ParseColumn says.
func unknownColumn(i int, name string, mapped map[string]ingest.Channel, err error) error {
	names := make([]string, 0, len(mapped))
	for known := range mapped {
		names = append(names, known)
	}
	slices.Sort(names)
	hint := "map it in the site record (channels, column), or leave it out (--ignore)"
	if len(names) > 0 {
		hint += fmt.Sprintf("; the nearest mapped column is %q", ingest.Nearest(name, names))
	}
	return fmt.Errorf("column %d: %w; or %s", i+1, err, hint)
}

func mappedColumns(record *site.Record) map[string]ingest.Channel {
	mapped := make(map[string]ingest.Channel)
	for c, source := range record.Channels {
		if source.Column != "" {
			mapped[strings.TrimSpace(source.Column)] = c
		}
	}
	return mapped
}

func list(names []string) string {
	const most = 20
	if len(names) > most {
		return fmt.Sprintf("%q and %d more", names[:most], len(names)-most)
	}
	return fmt.Sprintf("%q", names)
}

// sniffed is how much of the data is looked at for the decimal mark.
const sniffed = 1 << 16

// hasDecimalComma says whether a cell is a number with a decimal comma.
func hasDecimalComma(data []byte, separator byte) bool {
	for cell := range bytes.FieldsFuncSeq(data, func(r rune) bool { return r == rune(separator) || r == '\n' || r == '\r' || r == '"' }) {
		whole, fraction, found := bytes.Cut(bytes.TrimSpace(cell), []byte(","))
		if found && isDigits(bytes.TrimLeft(whole, "+-")) && isDigits(fraction) {
			return true
		}
	}
	return false
}

func isDigits(s []byte) bool {
	return len(s) > 0 && len(bytes.Trim(s, "0123456789")) == 0
}
