package publish

import (
	"math"
	"strconv"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// appendBare writes a value as a bare payload; the mode is a word. A value that
// is no number is written as such: that is what a broken publisher sends.
func appendBare(to []byte, r ingest.Reading) []byte {
	if r.Channel.Quantity() == ingest.ModeQuantity {
		return append(to, rig.ModeWord(r.Value)...)
	}
	return strconv.AppendFloat(to, r.Value, 'f', -1, 64)
}

// appendPack writes readings of one site as a SenML pack: base name and base
// time in the first record, other times relative to it.
func appendPack(to []byte, readings []ingest.Reading) []byte {
	baseMS := readings[0].Time.UnixMilli()
	to = append(to, `[{"bn":"`...)
	to = append(to, readings[0].Site...)
	to = append(to, `/","bt":`...)
	to = appendSeconds(to, baseMS)
	for i, r := range readings {
		if i > 0 {
			to = append(to, `,{`...)
		} else {
			to = append(to, ',')
		}
		to = append(to, `"n":"`...)
		to = append(to, r.Channel...)
		to = append(to, '"')
		if offsetMS := r.Time.UnixMilli() - baseMS; offsetMS != 0 {
			to = append(to, `,"t":`...)
			to = appendSeconds(to, offsetMS)
		}
		to = append(appendValue(to, r), '}')
	}
	return append(to, ']')
}

// appendValue writes unit and value. What is no number stands in the place of
// one as a text, which a reader must refuse without losing the pack.
func appendValue(to []byte, r ingest.Reading) []byte {
	if r.Channel.Quantity() == ingest.ModeQuantity {
		to = append(to, `,"vs":"`...)
		return append(append(to, rig.ModeWord(r.Value)...), '"')
	}
	to = append(to, `,"u":"`...)
	to = append(to, r.Channel.Unit()...)
	to = append(to, `","v":`...)
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return strconv.AppendQuote(to, strconv.FormatFloat(r.Value, 'f', -1, 64))
	}
	return strconv.AppendFloat(to, r.Value, 'f', -1, 64)
}

// appendSeconds writes milliseconds as seconds.
func appendSeconds(to []byte, timeMS int64) []byte {
	if timeMS < 0 {
		to, timeMS = append(to, '-'), -timeMS
	}
	to = strconv.AppendInt(to, timeMS/1000, 10)
	if rest := timeMS % 1000; rest != 0 {
		to = append(to, '.', byte('0'+rest/100), byte('0'+rest/10%10), byte('0'+rest%10))
	}
	return to
}
