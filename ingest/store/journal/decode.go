package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store/decoding"
)

// decode returns the readings of a coded batch, of one site only unless site is
// empty.
func decode(data []byte, site string) ([]ingest.Reading, error) {
	if len(data) < headerSize {
		return nil, decoding.ErrShort
	}
	if data[0] != codeVersion {
		return nil, fmt.Errorf("coded as version %d, this program knows %d", data[0], codeVersion)
	}
	if crc32.Checksum(data[headerSize:], castagnoli) != binary.LittleEndian.Uint32(data[1:]) {
		return nil, errors.New("the checksum does not match")
	}
	r := reader{decoding.Reader{Rest: data[headerSize:]}}
	return r.batch(site)
}

// reader takes a coded batch apart.
type reader struct{ decoding.Reader }

// count reads how many things follow that take so many bytes at least each.
func (r *reader) count(size int) int {
	n := r.Uvarint()
	if n > uint64(len(r.Rest)/size) {
		r.Fail(decoding.ErrShort)
		return 0
	}
	return int(n)
}

// place reads a place in a list of n.
func (r *reader) place(n int) int {
	at := r.Uvarint()
	if at >= uint64(n) {
		r.Fail(fmt.Errorf("place %d in a list of %d", at, n))
		return 0
	}
	return int(at)
}

func (r *reader) names() []string {
	list := make([]string, r.count(1))
	for i := range list {
		list[i] = string(r.Take(r.Uvarint()))
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
		if r.Err != nil {
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
		if r.Err != nil {
			return nil, r.Err
		}
		if s := list[at]; site == "" || s.site == site {
			readings = append(readings, ingest.Reading{Site: s.site, Channel: s.channel, Time: time.UnixMilli(ms).UTC(), Value: value})
		}
	}
	return readings, r.End()
}

func (r *reader) reading(f *followers, seriesCount int, ms *int64) (at int, value float64) {
	flags := r.Byte()
	if flags&^knownFlags != 0 {
		r.Fail(fmt.Errorf("unknown flags %#x", flags))
	}
	at = f.expected()
	if flags&hasSeries != 0 {
		at = r.place(seriesCount)
	}
	if at >= seriesCount {
		r.Fail(fmt.Errorf("series %d of %d", at, seriesCount))
		return 0, 0
	}
	f.came(at)
	if flags&hasTime != 0 {
		*ms += r.Varint()
	}
	return at, r.value(flags & formMask)
}

func (r *reader) value(form byte) float64 {
	if int(form) < len(powersOfTen) {
		return float64(r.Varint()) / powersOfTen[form]
	}
	if form != formRaw {
		r.Fail(fmt.Errorf("unknown form %d of a value", form))
		return 0
	}
	raw := r.Take(8)
	if r.Err != nil {
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(raw))
	if math.IsNaN(v) || math.IsInf(v, 0) {
		r.Fail(errors.New("a value is not finite"))
	}
	return v
}
