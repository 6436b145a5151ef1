package job

import (
	"encoding/json"

	fastjson "github.com/go-json-experiment/json"
	"github.com/klauspost/compress/zstd"

	"coldweek/analysis/siteday"
)

// storedDay is the detail of a day as kept in the store: JSON, then Zstandard,
// which makes a fifth of it.
type storedDay struct {
	Settings string      `json:"settings"` // what in the record shaped it
	Day      siteday.Day `json:"day"`
}

// mostDetail bounds what a damaged detail may unpack to.
const mostDetail = 64 << 20

// The coder and the decoder may be used by many goroutines; neither starts any.
var (
	packer, errPacker     = zstd.NewWriter(nil)
	unpacker, errUnpacker = zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(mostDetail))
)

func (s *storedDay) pack() ([]byte, error) {
	text, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	if errPacker != nil {
		return nil, errPacker
	}
	return packer.EncodeAll(text, nil), nil
}

func (s *storedDay) unpack(detail []byte) error {
	if errUnpacker != nil {
		return errUnpacker
	}
	text, err := unpacker.DecodeAll(detail, nil)
	if err != nil {
		return err
	}
	return fastjson.Unmarshal(text, s) // in two fifths of the time of encoding/json
}
