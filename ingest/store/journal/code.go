package journal

import "hash/crc32"

// A batch is coded as
//
//	version byte, checksum (CRC-32C of what follows, 4 bytes)
//	count uvarint of the readings
//	sites: count uvarint, each its length uvarint and its bytes
//	channels: likewise
//	series, in the order they first occur: count uvarint, each its site and channel (uvarint, as places in the lists)
//	readings, in the order of the batch, each
//	  flags byte: form of the value, which of the next two follow
//	  series uvarint, unless it is the one that followed the previous reading's last time
//	  milliseconds since the previous reading varint, unless 0 (the first: since 1970)
//	  value: form decimal exponent e: k varint, the value is k / 10^e; raw: 8 bytes
//
// Whole batches of plants that report the same channels again and again take
// about four bytes a reading.
const (
	codeVersion  = 1
	checksumSize = 4
	headerSize   = 1 + checksumSize
)

const (
	formMask   = 0x07
	formRaw    = 0x07
	hasSeries  = 0x08
	hasTime    = 0x10
	knownFlags = formMask | hasSeries | hasTime
)

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// followers expects of each series the one that came after it last time, at
// first the next in the list.
type followers struct {
	next []int
	last int
}

func newFollowers(series int) followers {
	f := followers{next: make([]int, series+1)}
	for i := range f.next {
		f.next[i] = i
	}
	return f
}

// next and last are one higher than the series, 0 standing for the beginning.
func (f *followers) expected() int { return f.next[f.last] }

func (f *followers) came(series int) {
	f.next[f.last] = series
	f.last = series + 1
}
