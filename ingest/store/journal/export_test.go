package journal

import (
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"

	"coldweek/ingest"
)

// Encode codes a batch.
func Encode(batch []ingest.Reading) []byte {
	data, _ := encode(batch)
	return data
}

// Decode is the other way, for one site only unless site is empty.
func Decode(data []byte, site string) ([]ingest.Reading, error) { return decode(data, site) }

// Sign makes version and checksum of data right, so that what follows is looked
// at.
func Sign(data []byte) []byte {
	if len(data) >= headerSize {
		data[0] = codeVersion
		binary.LittleEndian.PutUint32(data[1:], crc32.Checksum(data[headerSize:], castagnoli))
	}
	return data
}

// Ask returns the first column of a query's first row, asked of the writer's
// connection.
func (j *Journal) Ask(query string, args ...any) (answer string) {
	if err := j.write.QueryRowContext(context.Background(), query, args...).Scan(&answer); err != nil {
		return fmt.Sprint(err)
	}
	return answer
}

// Hold keeps every writer waiting until release is called.
func (j *Journal) Hold() (release func()) {
	j.turn <- struct{}{}
	return func() { <-j.turn }
}
