package job

import (
	"errors"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/klauspost/compress/zstd"

	"coldweek/analysis/siteday"
)

// storedDay is the detail of a day as kept in the store: CBOR (RFC 8949), then
// Zstandard, which makes a third of it.
type storedDay struct {
	Settings string      `json:"settings"` // what in the record shaped it
	Day      siteday.Day `json:"day"`
}

// mostDetail bounds what a damaged detail may unpack to.
const mostDetail = 64 << 20

// Coders and decoders may be used by many goroutines; none starts any.
var (
	coder, errCoder       = cbor.EncOptions{Time: cbor.TimeRFC3339Nano, ShortestFloat: cbor.ShortestFloat16}.EncMode()
	packer, errPacker     = zstd.NewWriter(nil)
	unpacker, errUnpacker = zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(mostDetail))
)

// unpacked has room for a day before it is decoded.
var unpacked = sync.Pool{New: func() any { return new([]byte) }}

func (s *storedDay) pack() ([]byte, error) {
	if err := errors.Join(errCoder, errPacker); err != nil {
		return nil, err
	}
	coded, err := coder.Marshal(s)
	if err != nil {
		return nil, err
	}
	return packer.EncodeAll(coded, nil), nil
}

// unpack reads a detail; times are in the zone given.
func (s *storedDay) unpack(detail []byte, zone *time.Location) error {
	if errUnpacker != nil {
		return errUnpacker
	}
	room := unpacked.Get().(*[]byte)
	defer unpacked.Put(room)
	coded, err := unpacker.DecodeAll(detail, (*room)[:0])
	if err != nil {
		return err
	}
	*room = coded
	if err := cbor.Unmarshal(coded, s); err != nil { // which keeps nothing of it
		return err
	}
	s.Day.In(zone)
	return nil
}
