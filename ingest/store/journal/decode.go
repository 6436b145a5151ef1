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
