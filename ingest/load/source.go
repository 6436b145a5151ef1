package load

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"
)

// maxLine bounds a line, and with it the memory a broken file can take.
const maxLine = 1 << 18

// errLineTooLong is of one line; the next can be read.
var errLineTooLong = fmt.Errorf("the line is longer than %d bytes", maxLine)

// counter counts what has been read of the file as it lies on disk.
type counter struct {
	r    io.Reader
	done int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.done += int64(n)
	return n, err
}

// otherFormats are told by how they begin.
var otherFormats = []struct{ magic, name string }{
	{"PK\x03\x04", "a zip archive or a spreadsheet: save it as CSV"},
	{"\x28\xb5\x2f\xfd", "zstd: unpack it, or compress with gzip"},
	{"\xfd7zXZ\x00", "xz: unpack it, or compress with gzip"},
	{"BZh", "bzip2: unpack it, or compress with gzip"},
	{"\xff\xfe", "UTF-16: save it as UTF-8"},
	{"\xfe\xff", "UTF-16: save it as UTF-8"},
	{"SQLite format 3", "a SQLite database, not CSV"},
}

var (
	gzipMagic     = []byte{0x1f, 0x8b}
	byteOrderMark = []byte("\xef\xbb\xbf")
)

// unpack returns the text of a file, told by its first bytes, not its name.
func unpack(r io.Reader) (io.Reader, error) {
	raw := bufio.NewReaderSize(r, 1<<16)
	head, err := raw.Peek(16)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if bytes.HasPrefix(head, gzipMagic) {
		return gzip.NewReader(raw)
	}
	for _, other := range otherFormats {
		if bytes.HasPrefix(head, []byte(other.magic)) {
			return nil, fmt.Errorf("the file is %s", other.name)
		}
	}
	return raw, nil
}

// lines reads a text line by line and knows where it is.
type lines struct {
	r      *bufio.Reader
	number int64 // of the line last read, from 1
	offset int64 // of what comes next, in bytes of the text
	whole  bool  // the line last read ended in a newline
}

func newLines(r io.Reader) *lines { return &lines{r: bufio.NewReaderSize(r, maxLine)} }

// next returns the next line without its end, valid until the next call. It
// returns io.EOF after the last and errLineTooLong for a line it has skipped.
func (l *lines) next() ([]byte, error) {
	line, err := l.r.ReadSlice('\n')
	l.offset += int64(len(line))
	if len(line) == 0 && err != nil {
		return nil, err
	}
	l.number++
	l.whole = err == nil
	switch {
	case errors.Is(err, bufio.ErrBufferFull):
		return nil, l.skipLine()
	case err != nil && !errors.Is(err, io.EOF):
		return nil, err
	}
	line = bytes.TrimSuffix(line, []byte("\n"))
	return bytes.TrimSuffix(line, []byte("\r")), nil
}

// skipLine reads to the end of a line that is too long.
func (l *lines) skipLine() error {
	for {
		part, err := l.r.ReadSlice('\n')
		l.offset += int64(len(part))
		switch {
		case err == nil, errors.Is(err, io.EOF):
			return errLineTooLong
		case !errors.Is(err, bufio.ErrBufferFull):
			return err
		}
	}
}

// skipTo goes on at an offset where a line, the one after number, begins.
func (l *lines) skipTo(offset, number int64) error {
	n, err := l.r.Discard(int(offset - l.offset))
	l.offset += int64(n)
	l.number = number
	return err
}

// peek looks at what comes next without reading it.
func (l *lines) peek(n int) []byte {
	head, _ := l.r.Peek(n) // a short or failing read shows when it is read
	return head
}
