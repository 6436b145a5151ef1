package receive_test

import (
	"context"
	"encoding/json"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/receive/brokertest"
	"coldweek/ingest/store/influx/influxtest"
)

// TestDatabaseOutage carries a stream from Mosquitto by way of the journal into
// a real InfluxDB, which is away for most of it: killed when a sixth of the
// stream has passed and back at the last sixth. The ingester is killed twice
// meanwhile. Afterwards every reading is there, once. COLDWEEK_SOAK=15m makes
// it an outage of ten minutes.
func TestDatabaseOutage(t *testing.T) {
	run := soakFromEnvironment(t)
	database := influxtest.Start(t)
	database.CreateDatabase("soak")
	broker := brokertest.Start(t, brokertest.Durable)
	p := plan{URL: broker.URL(), ClientID: "ingester", Dir: t.TempDir(), Influx: database.URL()}
	houses := p.settle(t, run.sites)

	steps := int(run.length / run.every)
	ingester := p.start(t)
	pace := time.NewTicker(run.every)
	defer pace.Stop()
	for i := range steps {
		<-pace.C
		p.publishStep(houses, i)
		switch i {
		case steps / 6:
			database.Kill()
		case steps / 3, steps * 2 / 3:
			ingester.kill()
			ingester = p.start(t)
		case steps * 5 / 6:
			database.Resume()
		}
	}
	st, err := p.open(t.Context(), slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, st.close()) })
	assert.Eventually(t, func() bool { return arrived(t, st, p, steps) }, 2*time.Minute, 250*time.Millisecond)
	ingester.stop()
	require.NoError(t, st.drained(t.Context()), "what was left in the journal")
	report(t, st, p, steps)

	direct := database.Query("soak", `SELECT count(*) FROM reading`)
	t.Logf("counted by InfluxDB itself: %v", direct[0].Values)
	counted := map[string]int64{}
	for k, column := range direct[0].Columns[1:] {
		n, err := direct[0].Values[0][k+1].(json.Number).Int64()
		require.NoError(t, err)
		counted[column] = n
	}
	for _, c := range packChannels {
		assert.EqualValues(t, len(p.Sites)*steps, counted["count_"+string(c)], "%s", c)
	}
}

// drained sends what waits, for when the ingester has stopped.
func (k kept) drained(ctx context.Context) error {
	if d, ok := k.Store.(interface {
		Drain(context.Context, func(int64)) error
	}); ok {
		return d.Drain(ctx, nil)
	}
	return nil
}
