// Package influx keeps readings, site days and findings in InfluxDB, 1.8 or
// 2.x, for fleets beyond one machine and for people who run it already.
//
// Append puts a batch into the journal, a file of this machine, and is done;
// Forward sends on what waits there, so that a database that is away loses
// nothing. What is read is the database's answer with what still waits laid
// over it, so a reading is seen by this machine from its append on.
//
// The bucket holds these measurements, all times in UTC:
//
//	reading   tag site; one float field a channel
//	channel   tags site, channel; field seen: the channel has readings that day
//	revision  tags site, writer; time = hour; field revision: the last batch of that journal that touched the hour
//	site_day  tag site; time = 00:00 of the date; the day's figures as fields
//	finding   tags site, kind; time = beginning; severity, until_ms, open, evidence_* as fields
//
// Written with WriteAPIBlocking of the official client to /api/v2/write, read
// with InfluxQL from /query in MessagePack, which was the fastest of what both
// versions give (see BenchmarkSiteDay). That InfluxDB 2 does what is relied on
// was read in its sources of v2.7.12, named where it matters; it has been run
// with 1.8.10.
package influx

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/journal"
)

var _ store.Store = (*Store)(nil)

// Options of a store. URL, Bucket, Journal and Quarantine are needed; the
// others may be left out.
type Options struct {
	URL string // such as http://influxdb:8086
	Org string // of InfluxDB 2; 1.8 has none

	// Bucket is the bucket of InfluxDB 2, without a slash; on 1.8 the database,
	// or database/retention policy.
	Bucket string

	// Token is that of InfluxDB 2, on 1.8 "user:password", or empty.
	Token string

	// CAFile holds the certificates (PEM) to trust instead of the system's.
	CAFile string

	// Journal and Quarantine are closed by who opened them, after the store.
	Journal    *journal.Journal
	Quarantine store.Quarantine

	Now    func() time.Time // time.Now when nil
	Logger *slog.Logger     // silent when nil

	Timeout      time.Duration // for the server to go on answering; 30 s when 0
	Linger       time.Duration // how long to gather readings before they are sent; 200 ms when 0
	FirstPause   time.Duration // before the first retry; 500 ms when 0
	LongestPause time.Duration // before any retry; 30 s when 0
	Settle       time.Duration // how long a write may go on when its answer was not heard; 10 s when 0
	BatchSize    int           // readings in one request, about; 10,000 when 0
}

func (o Options) withDefaults() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	setDefault(&o.Timeout, 30*time.Second)
	setDefault(&o.Linger, 200*time.Millisecond)
	setDefault(&o.FirstPause, 500*time.Millisecond)
	setDefault(&o.LongestPause, 30*time.Second)
	setDefault(&o.Settle, 10*time.Second)
	setDefault(&o.BatchSize, 10_000)
	return o
}

func setDefault[T comparable](v *T, otherwise T) {
	var zero T
	if *v == zero {
		*v = otherwise
	}
}

func (o Options) check() error {
	u, err := url.Parse(o.URL)
	database, policy, slash := strings.Cut(o.Bucket, "/")
	switch {
	case err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "":
		return fmt.Errorf("url %q: use one like http://influxdb:8086", redacted(u, o.URL))
	case u.User != nil:
		return errors.New("url: put user and password into the token, as user:password")
	case database == "" || slash && policy == "":
		return fmt.Errorf("bucket %q: use its name, on InfluxDB 1.8 database or database/retention policy", o.Bucket)
	case strings.ContainsAny(o.Token, " \t\r\n"):
		return errors.New("token: holds a space, which InfluxDB does not take")
	case o.Journal == nil || o.Quarantine == nil:
		return errors.New("it needs a journal and a quarantine")
	}
	return nil
}

// redacted keeps a password out of the error that quotes the address.
func redacted(u *url.URL, raw string) string {
	if u == nil || strings.Contains(raw, "@") {
		return "..."
	}
	return raw
}

// Store is InfluxDB with a journal in front. Its methods may be called from
// many goroutines.
type Store struct {
	store.Quarantine
	options          Options
	address          string // without a slash at the end
	database, policy string
	client           influxdb2.Client
	http             *http.Client
	writes           api.WriteAPIBlocking
	isV2             atomic.Bool
	known            *known
	stats            stats
}

// Open makes a store; the server need not be there.
func Open(_ context.Context, options Options) (*Store, error) {
	if err := options.check(); err != nil {
		return nil, fmt.Errorf("open InfluxDB: %w", err)
	}
	client, err := newHTTPClient(options.CAFile)
	if err != nil {
		return nil, fmt.Errorf("open InfluxDB: %w", err)
	}
	s := &Store{
		Quarantine: options.Quarantine,
		options:    options.withDefaults(),
		address:    strings.TrimRight(options.URL, "/"),
		http:       client,
		known:      newKnown(),
	}
	s.database, s.policy, _ = strings.Cut(options.Bucket, "/")
	settings := influxdb2.DefaultOptions().SetHTTPClient(client).SetUseGZip(true).SetPrecision(time.Millisecond)
	s.client = influxdb2.NewClientWithOptions(s.address, options.Token, settings)
	s.writes = s.client.WriteAPIBlocking(options.Org, options.Bucket)
	return s, nil
}

// Close gives connections back. End Forward first.
func (s *Store) Close() error {
	s.client.Close()
	s.http.CloseIdleConnections()
	return nil
}

// InfluxDB holds times from 1677-09-21 to 2262-04-11 (models/time.go of 1.8.10:
// MinNanoTime, MaxNanoTime); these are whole days within, the first at the
// beginning of a window.
var (
	earliest = time.Date(1677, 9, 23, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2262, 4, 11, 0, 0, 0, 0, time.UTC)
)

// Append puts the batch into the journal. It counts every reading as new: to
// know better would mean to ask the server.
func (s *Store) Append(ctx context.Context, batch []ingest.Reading) (changed int64, err error) {
	for i, r := range batch {
		if err := store.CheckReading(r); err != nil {
			return 0, fmt.Errorf("append %d readings: reading %d: %w", len(batch), i, err)
		}
		if r.Time.Before(earliest) || !r.Time.Before(latest) {
			return 0, fmt.Errorf("append %d readings: reading %d: %w: %s of %q is of %s; InfluxDB holds times from %s to %s",
				len(batch), i, store.ErrReading, r.Channel, r.Site, r.Time.UTC().Format(time.RFC3339),
				earliest.Format(time.DateOnly), latest.Format(time.DateOnly))
		}
	}
	if _, err := s.options.Journal.Append(ctx, batch); err != nil {
		return 0, err
	}
	return int64(len(batch)), nil
}

// span returns the milliseconds of from <= time < to, within what InfluxDB
// holds.
func span(from, to time.Time) (fromMS, toMS int64) {
	return ceilMS(from), ceilMS(to)
}

func ceilMS(t time.Time) int64 {
	switch {
	case t.Before(earliest):
		return earliest.UnixMilli()
	case t.After(latest):
		return latest.UnixMilli()
	}
	ms := t.UnixMilli()
	if t.Nanosecond()%1e6 != 0 {
		ms++
	}
	return ms
}
