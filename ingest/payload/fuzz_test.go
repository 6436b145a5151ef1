package payload_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/payload"
)

// FuzzDecode: whatever comes, readings are ones the store can take, refusals
// are bounded and explained, and decoding twice gives the same.
func FuzzDecode(f *testing.F) {
	var d *payload.Decoder
	for _, file := range []string{"bare.txt", "senml.txt", "mapped.txt"} {
		s := readScript(f, "../../testdata/payload/"+file)
		for _, m := range s.messages {
			f.Add(m.topic, m.body)
		}
		if file == "mapped.txt" {
			d = newDecoder(f, s.records...)
		}
	}
	f.Fuzz(func(t *testing.T, topic string, body []byte) {
		readings, rejected := d.Decode(topic, body, arrived)
		for _, r := range readings {
			checkReading(t, r)
		}
		assert.LessOrEqual(t, len(rejected), 21)
		for _, r := range rejected {
			assert.Contains(t, ingest.Reasons(), r.Reason)
			assert.NotEmpty(t, r.Detail)
			assert.LessOrEqual(t, len(r.Payload), ingest.MaxRejectedPayload)
		}
		again, rejectedAgain := d.Decode(topic, body, arrived)
		assert.Equal(t, readings, again)
		assert.Equal(t, rejected, rejectedAgain)
	})
}

func checkReading(t *testing.T, r ingest.Reading) {
	t.Helper()
	assert.Contains(t, []string{"mill-lane-4", "brook-end"}, r.Site)
	c, err := ingest.ParseChannel(string(r.Channel))
	require.NoError(t, err)
	assert.NoError(t, c.Quantity().CheckValue(r.Value))
	assert.NoError(t, ingest.CheckTime(r.Time, arrived))
	assert.Zero(t, r.Time.Nanosecond()%1e6, "kept to the millisecond")
}
