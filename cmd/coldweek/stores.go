package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coldweek/dashboards/metrics"
	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/journal"
	"coldweek/ingest/store/local"
)

// stores are where a deployment keeps things: all of it in the file of its data
// folder or, with influx in coldweek.yaml, the quarantine there and the rest in
// InfluxDB, by way of the journal.
type stores struct {
	store.Store
	file    *local.Store
	journal *journal.Journal // nil without InfluxDB, as influx is
	influx  *influx.Store
}

// withStore opens the deployment's stores, does the work and closes them.
func (a *app) withStore(ctx context.Context, h home, work func(st *stores) error) (err error) {
	if err := os.MkdirAll(h.dataDir(), 0o750); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	st, err := a.openStores(ctx, h)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.close()) }()
	return work(st)
}

func (a *app) openStores(ctx context.Context, h home) (*stores, error) {
	config, err := h.readStoreConfig()
	if err != nil {
		return nil, err
	}
	file, err := local.Open(ctx, h.storePath(), local.Options{Now: time.Now, Logger: a.quietLogger()})
	if err != nil {
		return nil, err
	}
	st := &stores{Store: file, file: file}
	if config == nil {
		return st, nil
	}
	if err := st.openInflux(ctx, a, h, config); err != nil {
		return nil, errors.Join(err, st.close())
	}
	return st, nil
}

// openInflux puts InfluxDB in the file's place, but for the quarantine.
func (st *stores) openInflux(ctx context.Context, a *app, h home, c *influxConfig) (err error) {
	token, err := c.token()
	if err != nil {
		return err
	}
	if st.journal, err = journal.Open(ctx, h.journalPath(), journal.Options{Logger: a.quietLogger()}); err != nil {
		return err
	}
	st.influx, err = influx.Open(ctx, influx.Options{
		URL: c.URL, Org: c.Org, Bucket: c.Bucket, Token: token, CAFile: c.CAFile,
		Journal: st.journal, Quarantine: st.file, Logger: a.quietLogger(),
	})
	if err == nil {
		st.Store = st.influx
	}
	return err
}

// token reads the file that holds it.
func (c *influxConfig) token() (string, error) {
	if c.TokenFile == "" {
		return "", nil
	}
	text, err := os.ReadFile(c.TokenFile)
	if err != nil {
		return "", fmt.Errorf("read token of InfluxDB: %w", err)
	}
	return strings.TrimSpace(string(text)), nil
}

func (st *stores) close() error {
	var errs []error
	if st.influx != nil {
		errs = append(errs, st.influx.Close())
	}
	if st.journal != nil {
		errs = append(errs, st.journal.Close())
	}
	return errors.Join(append(errs, st.file.Close())...)
}

// settle waits until what was put in is where it rests.
func (st *stores) settle(ctx context.Context, a *app) error {
	if st.influx == nil {
		return nil
	}
	bar := a.progress("sending to InfluxDB")
	defer bar.done()
	var total int64
	err := st.influx.Ping(ctx) // a wrong bucket or token would be waited for without end
	if err == nil {
		err = st.influx.Drain(ctx, func(left int64) {
			total = max(total, left)
			bar.set(total-left, total)
		})
	}
	if err != nil {
		return fmt.Errorf("%w; what was read is safe in %s and will be sent when coldweek serve runs", err, st.journal.Path())
	}
	return nil
}

// waiting tells the metrics what waits in the journal.
func (st *stores) waiting(ctx context.Context) (metrics.Journal, error) {
	depth, err := st.journal.Depth(ctx)
	if err != nil {
		return metrics.Journal{}, err
	}
	done := st.influx.Stats()
	return metrics.Journal{
		Batches: depth.Batches, Readings: depth.Readings, Oldest: depth.Oldest,
		Forwarded: done.ForwardedReadings, Failures: done.FailedAttempts, Up: done.Up,
	}, nil
}

func (h home) journalPath() string { return filepath.Join(h.dataDir(), "journal.sqlite") }
