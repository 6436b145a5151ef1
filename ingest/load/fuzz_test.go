package load_test

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest"
	"coldweek/ingest/load"
	"coldweek/ingest/store"
)

// batches remembers what it is given: what the fuzzer checks are batches and
// refusals, one by one, which a store no longer tells apart.
type batches struct {
	all     [][]ingest.Reading
	refused []ingest.Rejected
}

func (b *batches) Append(_ context.Context, batch []ingest.Reading) (int64, error) {
	b.all = append(b.all, append([]ingest.Reading(nil), batch...))
	return int64(len(batch)), nil
}

func (b *batches) Refuse(_ context.Context, items []ingest.Rejected) error {
	b.refused = append(b.refused, items...)
	return nil
}

func (b *batches) Refusals(context.Context, int) ([]store.Refused, error) { return nil, nil }

// FuzzCSV: whatever a file holds, every reading is one the store can take,
// refusals are bounded and explained, and loading again gives the same.
func FuzzCSV(f *testing.F) {
	record, samples := readScript(f, "../../testdata/load/layouts.txt")
	_, bad := readScript(f, "../../testdata/load/refused.txt")
	_, zones := readScript(f, "../../testdata/load/zone.txt")
	for _, s := range append(append(samples, bad...), zones...) {
		f.Add(s.bytes(), s.has("zone=Europe/London"))
	}
	f.Add(compress(f, history(20)), false)
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, content []byte, local bool) {
		opts := load.Options{Now: clock, BatchSize: 3, SkipUnknown: true}
		if local {
			opts.Zone = london
		}
		st, again := &batches{}, &batches{}
		result, err := load.Reader(t.Context(), st, record, "x.csv", bytes.NewReader(content), opts)
		var readings int64
		for _, batch := range st.all {
			readings += int64(len(batch))
			for _, r := range batch {
				assert.NoError(t, r.Channel.Quantity().CheckValue(r.Value))
				assert.NoError(t, ingest.CheckTime(r.Time, now))
			}
		}
		assert.LessOrEqual(t, readings, result.Readings)
		assert.LessOrEqual(t, len(st.refused), 101*(1+len(result.Columns)))
		for _, r := range st.refused {
			assert.Contains(t, ingest.Reasons(), r.Reason)
			assert.NotEmpty(t, r.Detail)
			assert.LessOrEqual(t, len(r.Payload), ingest.MaxRejectedPayload)
		}
		_, errAgain := load.Reader(t.Context(), again, record, "x.csv", bytes.NewReader(content), opts)
		assert.Equal(t, err, errAgain)
		assert.Equal(t, st, again)
	})
}
