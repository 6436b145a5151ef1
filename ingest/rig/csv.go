package rig

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"time"

	"coldweek/ingest"
)

// CSV writes readings as a table: `time` (RFC 3339, UTC), then a column per
// channel. Readings that follow each other with the same time share a row; a
// channel without a sample leaves its cell empty.
type CSV struct {
	w        *bufio.Writer
	column   map[ingest.Channel]int
	cells    []float64
	filled   []bool
	mode     int // column of the mode, -1 for none
	at       time.Time
	open     bool
	line     []byte
	firstErr error
}

// NewCSV starts a table with the channels, as Plant.Channels lists them, and
// writes its header.
func NewCSV(w io.Writer, channels []ingest.Channel) *CSV {
	c := &CSV{
		w: bufio.NewWriterSize(w, 1<<16), column: make(map[ingest.Channel]int, len(channels)), mode: -1,
		cells: make([]float64, len(channels)), filled: make([]bool, len(channels)),
	}
	c.line = append(c.line, "time"...)
	for i, channel := range channels {
		c.column[channel] = i
		if channel.Quantity() == ingest.ModeQuantity {
			c.mode = i
		}
		c.line = append(append(c.line, ','), channel.ColumnName()...)
	}
	c.writeLine()
	return c
}

// Add takes the next reading. Errors are kept until Flush.
func (c *CSV) Add(r ingest.Reading) {
	i, ok := c.column[r.Channel]
	if !ok {
		c.keep(fmt.Errorf("write CSV: the table has no column for channel %q", r.Channel))
		return
	}
	if c.open && (!r.Time.Equal(c.at) || c.filled[i]) {
		c.endRow()
	}
	c.at, c.open = r.Time, true
	c.cells[i], c.filled[i] = r.Value, true
}

// Flush ends the last row and returns the first error of all.
func (c *CSV) Flush() error {
	if c.open {
		c.endRow()
	}
	c.keep(c.w.Flush())
	return c.firstErr
}

func (c *CSV) endRow() {
	c.line = appendTime(c.line, c.at)
	for i, filled := range c.filled {
		c.line = append(c.line, ',')
		switch {
		case !filled:
		case i == c.mode:
			c.line = append(c.line, ModeWord(c.cells[i])...)
		default:
			c.line = strconv.AppendFloat(c.line, c.cells[i], 'f', -1, 64)
		}
		c.filled[i] = false
	}
	c.open = false
	c.writeLine()
}

func (c *CSV) writeLine() {
	c.line = append(c.line, '\n')
	_, err := c.w.Write(c.line)
	c.keep(err)
	c.line = c.line[:0]
}

func (c *CSV) keep(err error) {
	if c.firstErr == nil {
		c.firstErr = err
	}
}

// appendTime writes milliseconds only when there are some.
func appendTime(to []byte, at time.Time) []byte {
	if at.Nanosecond() < int(time.Millisecond) {
		return at.UTC().AppendFormat(to, "2006-01-02T15:04:05Z")
	}
	return at.UTC().AppendFormat(to, "2006-01-02T15:04:05.000Z")
}

// ModeWord is how a plant writes the mode: its word, or the number as it is
// when it is no mode.
func ModeWord(value float64) string {
	if m := ingest.Mode(value); m >= ingest.ModeOff && m <= ingest.ModeDefrost && float64(m) == value {
		return m.String()
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

// WriteCSV writes readings as one table; the channels are those that occur,
// in the order of their first reading.
func WriteCSV(w io.Writer, readings ...ingest.Reading) error {
	var channels []ingest.Channel
	seen := map[ingest.Channel]bool{}
	for _, r := range readings {
		if !seen[r.Channel] {
			seen[r.Channel] = true
			channels = append(channels, r.Channel)
		}
	}
	c := NewCSV(w, channels)
	for _, r := range readings {
		c.Add(r)
	}
	return c.Flush()
}
