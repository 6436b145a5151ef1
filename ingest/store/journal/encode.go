package journal

import (
	"encoding/binary"
	"hash/crc32"
	"math"

	"coldweek/ingest"
)

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
