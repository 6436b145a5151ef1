package grafana_test

import (
	"context"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/dashboards/metrics"
	"coldweek/dashboards/metrics/prometheustest"
	"coldweek/ingest"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/influx/influxtest"
	"coldweek/ingest/store/journal"
	"coldweek/ingest/store/local"
)

const database = "coldweek"

// wintersDays are the days of the simulated houses.
const wintersDays = 4

var winter = time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC)

// deployment is InfluxDB with winter days of the simulated houses, and the
// service at work, scraped by Prometheus.
type deployment struct {
	influx     *influxtest.Server
	prometheus *prometheustest.Server
	store      *influx.Store
	journal    *journal.Journal
	records    []*site.Record
	answers    map[string]*job.Result
}

func deploy(t *testing.T) *deployment {
	t.Helper()
	d := &deployment{influx: influxtest.Start(t), answers: map[string]*job.Result{}}
	d.influx.CreateDatabase(database)
	quarantine := d.open(t)
	for _, house := range rig.Houses() {
		house.Metering.Interval = time.Minute
		record := house.Record()
		d.records = append(d.records, record)
		d.play(t, house, record)
		d.notice(t, record)
	}
	d.serve(t, quarantine)
	return d
}

// open makes the store, with its journal and quarantine.
func (d *deployment) open(t *testing.T) *local.Store {
	t.Helper()
	quarantine, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "quarantine.sqlite"), local.Options{})
	require.NoError(t, err)
	d.journal, err = journal.Open(t.Context(), filepath.Join(t.TempDir(), "journal.sqlite"), journal.Options{})
	require.NoError(t, err)
	d.store, err = influx.Open(t.Context(), influx.Options{URL: d.influx.URL(), Bucket: database, Journal: d.journal, Quarantine: quarantine})
	require.NoError(t, err)
	t.Cleanup(func() {
		assert.NoError(t, d.store.Close())
		assert.NoError(t, d.journal.Close())
		assert.NoError(t, quarantine.Close())
	})
	return quarantine
}

// play puts a house's winter days into the database and has them analysed.
func (d *deployment) play(t *testing.T, house rig.Plant, record *site.Record) {
	t.Helper()
	begin := time.Date(winter.Year(), winter.Month(), winter.Day(), 0, 0, 0, 0, record.Zone())
	r, err := rig.New(house, begin)
	require.NoError(t, err)
	window := job.Window{From: begin, To: begin.AddDate(0, 0, wintersDays)}
	for hour := begin; hour.Before(window.To); hour = hour.Add(time.Hour) {
		var batch []ingest.Reading
		r.Advance(hour.Add(time.Hour), func(reading ingest.Reading) { batch = append(batch, reading) })
		_, err := d.store.Append(t.Context(), batch)
		require.NoError(t, err)
	}
	require.NoError(t, d.store.Drain(t.Context(), nil))
	d.answers[record.ID], err = job.Analyse(t.Context(), d.store, record, window, nil)
	require.NoError(t, err)
}

// notice stores findings of each severity, and one that has ended.
func (d *deployment) notice(t *testing.T, record *site.Record) {
	t.Helper()
	day := func(n int) time.Time { return winter.AddDate(0, 0, n) }
	require.NoError(t, d.store.PutFindings(t.Context(), []store.Finding{
		{Site: record.ID, Kind: "low_flow", Since: day(1), Severity: store.Urgent, Fields: map[string]float64{"flow_rate_lph": 610}},
		{Site: record.ID, Kind: "short_cycling", Since: day(2), Severity: store.Attention},
		{Site: record.ID, Kind: "sensor_stuck/room_temp", Since: day(-30), Severity: store.Info},
		{Site: record.ID, Kind: "defrosts_often", Since: day(1), Until: day(2), Severity: store.Attention},
	}))
}

// serve runs an intake whose readings stay in the journal, and a Prometheus that
// scrapes it.
func (d *deployment) serve(t *testing.T, quarantine *local.Store) {
	t.Helper()
	decoder, err := payload.NewDecoder(d.records)
	require.NoError(t, err)
	intake, err := receive.NewIntake(receive.Options{Sink: d.store, Decoder: decoder, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	page, err := metrics.New(metrics.Options{
		Version: "test", Intake: intake.Stats, Quarantine: quarantine.RefusalCounts, Sites: d.sites,
		Journal: d.depth, Logger: slog.New(slog.NewTextHandler(t.Output(), nil)),
	})
	require.NoError(t, err)
	server := httptest.NewServer(page)
	t.Cleanup(server.Close)
	ctx, stop := context.WithCancel(context.Background())
	ran, published := make(chan error, 1), make(chan error, 1)
	go func() { ran <- intake.Run(ctx) }()
	go func() { published <- d.publish(ctx, intake) }()
	t.Cleanup(func() {
		stop()
		assert.NoError(t, <-published)
		assert.NoError(t, <-ran)
	})
	d.prometheus = prometheustest.Start(t, map[string]string{"coldweek": strings.TrimPrefix(server.URL, "http://")})
}

func (d *deployment) sites() []string {
	var ids []string
	for _, r := range d.records {
		ids = append(ids, r.ID)
	}
	return ids
}

func (d *deployment) depth(ctx context.Context) (metrics.Journal, error) {
	depth, err := d.journal.Depth(ctx)
	s := d.store.Stats()
	return metrics.Journal{
		Batches: depth.Batches, Readings: depth.Readings, Oldest: depth.Oldest,
		Forwarded: s.ForwardedReadings, Failures: s.FailedAttempts, Up: s.Up,
	}, err
}

// publish hands over a reading of each site and a message that is none, again and
// again until the context ends.
func (d *deployment) publish(ctx context.Context, intake *receive.Intake) error {
	for tick := time.Tick(100 * time.Millisecond); ; {
		for _, id := range d.sites() {
			if err := handOver(ctx, intake, "coldweek/"+id+"/outdoor_temp", "3.5"); err != nil {
				return err
			}
		}
		if err := handOver(ctx, intake, "coldweek/"+d.sites()[0]+"/power", "much"); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick:
		}
	}
}

func handOver(ctx context.Context, intake *receive.Intake, topic, body string) error {
	err := intake.Publish(ctx, receive.Message{Topic: topic, Payload: []byte(body)})
	if err != nil && ctx.Err() == nil {
		return fmt.Errorf("publish to %s: %w", topic, err)
	}
	return nil
}
