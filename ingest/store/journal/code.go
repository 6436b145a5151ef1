package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"coldweek/ingest"
)

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

type seriesKey struct{ site, channel int }

// names is a list in which each name has its place.
type names[T ~string] struct {
	list  []T
	place map[T]int
}

func (n *names[T]) add(name T) int {
	if i := len(n.list) - 1; i >= 0 && n.list[i] == name {
		return i
	}
	if i, ok := n.place[name]; ok {
		return i
	}
	if n.place == nil {
		n.place = make(map[T]int)
	}
	n.place[name] = len(n.list)
	n.list = append(n.list, name)
	return len(n.list) - 1
}

func (n *names[T]) append(dst []byte) []byte {
	dst = binary.AppendUvarint(dst, uint64(len(n.list)))
	for _, name := range n.list {
		dst = append(binary.AppendUvarint(dst, uint64(len(name))), name...)
	}
	return dst
}

// encode codes a batch and returns its sites as well.
func encode(batch []ingest.Reading) (data []byte, sites []string) {
	var siteNames names[string]
	var channelNames names[ingest.Channel]
	place := make(map[seriesKey]int)
	var series []seriesKey
	sequence := make([]int, len(batch))
	for i, r := range batch {
		key := seriesKey{siteNames.add(r.Site), channelNames.add(r.Channel)}
		at, known := place[key]
		if !known {
			at = len(series)
			place[key], series = at, append(series, key)
		}
		sequence[i] = at
	}
	data = make([]byte, headerSize, headerSize+64+24*len(series)+6*len(batch))
	data[0] = codeVersion
	data = binary.AppendUvarint(data, uint64(len(batch)))
	data = channelNames.append(siteNames.append(data))
	data = binary.AppendUvarint(data, uint64(len(series)))
	for _, key := range series {
		data = binary.AppendUvarint(binary.AppendUvarint(data, uint64(key.site)), uint64(key.channel))
	}
	data = appendReadings(data, batch, sequence, newFollowers(len(series)))
	binary.LittleEndian.PutUint32(data[1:], crc32.Checksum(data[headerSize:], castagnoli))
	return data, siteNames.list
}

func appendReadings(data []byte, batch []ingest.Reading, sequence []int, f followers) []byte {
	lastMS := int64(0)
	for i, r := range batch {
		at := len(data)
		data = append(data, 0)
		flags := byte(0)
		if series := sequence[i]; series != f.expected() {
			flags |= hasSeries
			data = binary.AppendUvarint(data, uint64(series))
		}
		f.came(sequence[i])
		ms := r.Time.UnixMilli()
		if ms != lastMS {
			flags |= hasTime
			data = binary.AppendVarint(data, ms-lastMS)
			lastMS = ms
		}
		form, k := formOf(r.Value)
		if form == formRaw {
			data = binary.LittleEndian.AppendUint64(data, math.Float64bits(r.Value))
		} else {
			data = binary.AppendVarint(data, k)
		}
		data[at] = flags | form
	}
	return data
}

// formOf finds the shortest decimal that is exactly v.
func formOf(v float64) (form byte, k int64) {
	const enough = 1 << 48 // beyond, a varint is no shorter than the raw bytes
	for e, power := range powersOfTen {
		scaled := math.RoundToEven(v * power)
		if !(math.Abs(scaled) < enough) {
			break
		}
		if math.Float64bits(scaled/power) == math.Float64bits(v) && (scaled != 0 || !math.Signbit(v)) {
			return byte(e), int64(scaled)
		}
	}
	return formRaw, 0
}

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

var errShort = errors.New("cut off")

// decode returns the readings of a coded batch, of one site only unless site is
// empty.
func decode(data []byte, site string) ([]ingest.Reading, error) {
	if len(data) < headerSize {
		return nil, errShort
	}
	if data[0] != codeVersion {
		return nil, fmt.Errorf("coded as version %d, this program knows %d", data[0], codeVersion)
	}
	if crc32.Checksum(data[headerSize:], castagnoli) != binary.LittleEndian.Uint32(data[1:]) {
		return nil, errors.New("the checksum does not match")
	}
	r := reader{rest: data[headerSize:]}
	return r.batch(site)
}

// reader takes a coded batch apart; the first error sticks and empties it.
type reader struct {
	rest []byte
	err  error
}

func (r *reader) fail(err error) {
	if r.err == nil {
		r.err = err
	}
	r.rest = nil
}

func (r *reader) byte() byte {
	if len(r.rest) == 0 {
		r.fail(errShort)
		return 0
	}
	b := r.rest[0]
	r.rest = r.rest[1:]
	return b
}

func (r *reader) uvarint() uint64 {
	x, n := binary.Uvarint(r.rest)
	if n <= 0 {
		r.fail(errShort)
		return 0
	}
	r.rest = r.rest[n:]
	return x
}

func (r *reader) varint() int64 {
	x, n := binary.Varint(r.rest)
	if n <= 0 {
		r.fail(errShort)
		return 0
	}
	r.rest = r.rest[n:]
	return x
}

func (r *reader) take(n uint64) []byte {
	if n > uint64(len(r.rest)) {
		r.fail(errShort)
		return nil
	}
	b := r.rest[:n]
	r.rest = r.rest[n:]
	return b
}

// count reads how many things follow that take so many bytes at least each.
func (r *reader) count(size int) int {
	n := r.uvarint()
	if n > uint64(len(r.rest)/size) {
		r.fail(errShort)
		return 0
	}
	return int(n)
}

// place reads a place in a list of n.
func (r *reader) place(n int) int {
	at := r.uvarint()
	if at >= uint64(n) {
		r.fail(fmt.Errorf("place %d in a list of %d", at, n))
		return 0
	}
	return int(at)
}

func (r *reader) names() []string {
	list := make([]string, r.count(1))
	for i := range list {
		list[i] = string(r.take(r.uvarint()))
	}
	return list
}

// series are the site and channel that readings refer to.
type series struct {
	site    string
	channel ingest.Channel
}

func (r *reader) series() []series {
	sites, channels := r.names(), r.names()
	list := make([]series, r.count(2))
	for i := range list {
		site, channel := r.place(len(sites)), r.place(len(channels))
		if r.err != nil {
			return nil
		}
		list[i] = series{sites[site], ingest.Channel(channels[channel])}
	}
	return list
}

func (r *reader) batch(site string) ([]ingest.Reading, error) {
	count := r.count(2)
	list := r.series()
	room := count
	if site != "" {
		room = 0
	}
	readings := make([]ingest.Reading, 0, room)
	f := newFollowers(len(list))
	ms := int64(0)
	for range count {
		at, value := r.reading(&f, len(list), &ms)
		if r.err != nil {
			return nil, r.err
		}
		if s := list[at]; site == "" || s.site == site {
			readings = append(readings, ingest.Reading{Site: s.site, Channel: s.channel, Time: time.UnixMilli(ms).UTC(), Value: value})
		}
	}
	if r.err == nil && len(r.rest) > 0 {
		r.fail(fmt.Errorf("%d bytes too many", len(r.rest)))
	}
	return readings, r.err
}

func (r *reader) reading(f *followers, seriesCount int, ms *int64) (at int, value float64) {
	flags := r.byte()
	if flags&^knownFlags != 0 {
		r.fail(fmt.Errorf("unknown flags %#x", flags))
	}
	at = f.expected()
	if flags&hasSeries != 0 {
		at = r.place(seriesCount)
	}
	if at >= seriesCount {
		r.fail(fmt.Errorf("series %d of %d", at, seriesCount))
		return 0, 0
	}
	f.came(at)
	if flags&hasTime != 0 {
		*ms += r.varint()
	}
	return at, r.value(flags & formMask)
}

func (r *reader) value(form byte) float64 {
	if int(form) < len(powersOfTen) {
		return float64(r.varint()) / powersOfTen[form]
	}
	if form != formRaw {
		r.fail(fmt.Errorf("unknown form %d of a value", form))
		return 0
	}
	raw := r.take(8)
	if r.err != nil {
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(raw))
	if math.IsNaN(v) || math.IsInf(v, 0) {
		r.fail(errors.New("a value is not finite"))
	}
	return v
}
