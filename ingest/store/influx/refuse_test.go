package influx_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/influx/influxtest"
)

// series returns wide readings, every minute one of each channel.
func series(site string, from time.Time, n int, channels ...ingest.Channel) []ingest.Reading {
	var batch []ingest.Reading
	for i := range n {
		for c, channel := range channels {
			batch = append(batch, ingest.Reading{Site: site, Channel: channel, Time: from.Add(time.Duration(i) * time.Minute), Value: float64(i) + float64(c)/8})
		}
	}
	return batch
}

// quarantined returns how many readings of each channel the store refused, and
// checks that each says what it was.
func quarantined(t *testing.T, s *opened) map[string]int {
	t.Helper()
	refused, err := s.Refusals(t.Context(), 100_000)
	require.NoError(t, err)
	counts := make(map[string]int)
	for _, r := range refused {
		require.Equal(t, ingest.StoreRefused, r.Reason)
		require.Contains(t, string(r.Payload), "reading,site=")
		counts[r.Site+" "+strings.TrimPrefix(r.Topic, "InfluxDB reading/")]++
	}
	return counts
}

// counted returns how many readings each channel holds.
func counted(t *testing.T, s *opened, site string, channels ...ingest.Channel) map[ingest.Channel]int {
	t.Helper()
	columns, err := s.Scan(t.Context(), site, channels, year2025.AddDate(-20, 0, 0), time.Now().AddDate(1, 0, 0))
	require.NoError(t, err)
	counts := make(map[ingest.Channel]int)
	for _, c := range columns {
		counts[c.Channel] = c.Len()
	}
	return counts
}

func append1(t *testing.T, s *opened, batch ...[]ingest.Reading) {
	t.Helper()
	for _, b := range batch {
		_, err := s.Append(t.Context(), b)
		require.NoError(t, err)
	}
}

// Somebody wrote whole numbers as integers before, of two channels and a week:
// InfluxDB refuses floats there, and a whole line for one field.
func TestOnlyWhatConflictsIsRefused(t *testing.T) {
	server := influxtest.Start(t)
	bucket := database(server)
	server.Write(bucket,
		fmt.Sprintf("reading,site=zell power=1i,mode=2i %d", year2025.UnixMilli()))
	p := newProxy(t, server)
	p.inject(func(w http.ResponseWriter, r *http.Request, pass http.Handler) { pass.ServeHTTP(w, r) })
	s := open(t, newFiles(t), influx.Options{URL: p.URL, Bucket: bucket})
	channels := []ingest.Channel{"flow_temp", "mode", "power", "room_temp/a"}
	week := series("moorhof", year2025, 500, channels...)
	later := series("moorhof", year2025.AddDate(0, 0, 30), 500, channels...)
	append1(t, s, week, later)
	s.drain(t)
	require.Equal(t, map[string]int{"moorhof mode": 500, "moorhof power": 500}, quarantined(t, s))
	require.Equal(t, map[ingest.Channel]int{"flow_temp": 1000, "room_temp/a": 1000, "mode": 500, "power": 500}, counted(t, s, "moorhof", channels...))
	require.Equal(t, int64(1000), s.Stats().RefusedPoints)
	require.Equal(t, int64(3000), s.Stats().ForwardedReadings)
	require.Less(t, p.writes.Load(), int64(60), "requests to find a thousand readings")

	refused, err := s.Refusals(t.Context(), 1)
	require.NoError(t, err)
	require.Contains(t, refused[0].Detail, "already exists as type integer")
}

func TestWhatIsTooOldIsRefused(t *testing.T) {
	server := influxtest.Start(t)
	bucket := database(server)
	server.Query("", fmt.Sprintf(`CREATE RETENTION POLICY "month" ON %q DURATION 30d REPLICATION 1`, bucket))
	now := time.Now().Truncate(time.Hour)
	p := newProxy(t, server)
	p.inject(func(w http.ResponseWriter, r *http.Request, pass http.Handler) { pass.ServeHTTP(w, r) })
	s := open(t, newFiles(t), influx.Options{URL: p.URL, Bucket: bucket + "/month"})
	channels := []ingest.Channel{"flow_temp", "power"}
	append1(t, s, series("moorhof", now.AddDate(-1, 0, 0), 1000, channels...))
	s.drain(t)
	require.Equal(t, map[string]int{"moorhof flow_temp": 1000, "moorhof power": 1000}, quarantined(t, s))
	require.Less(t, p.writes.Load(), int64(5))

	append1(t, s,
		series("moorhof", now.AddDate(0, 0, -2), 1000, channels...),
		series("zell", now.AddDate(-2, 0, 0), 300, channels...),
		series("zell", now.AddDate(0, 0, -3), 300, channels...))
	s.drain(t)
	require.Equal(t, map[string]int{"moorhof flow_temp": 1000, "moorhof power": 1000, "zell flow_temp": 300, "zell power": 300}, quarantined(t, s))
	require.Equal(t, map[ingest.Channel]int{"flow_temp": 1000, "power": 1000}, counted(t, s, "moorhof", channels...))
	require.Equal(t, map[ingest.Channel]int{"flow_temp": 300, "power": 300}, counted(t, s, "zell", channels...))
	sites, err := s.Sites(t.Context())
	require.NoError(t, err)
	require.Equal(t, []string{"moorhof", "zell"}, sites)

	err = s.PutDays(t.Context(), []store.Day{{Site: "moorhof", Date: "2020-01-01"}})
	require.ErrorContains(t, err, "retention policy")
}

func TestARequestTooLargeGoesInParts(t *testing.T) {
	server := influxtest.Start(t, "INFLUXDB_HTTP_MAX_BODY_SIZE=1500")
	bucket := database(server)
	p := newProxy(t, server)
	p.inject(measure)
	s := open(t, newFiles(t), influx.Options{URL: p.URL, Bucket: bucket})
	readings := newStream()
	readings.append(t, s, 200)
	s.drain(t)
	readings.checkHeld(t, server.URL(), bucket)
	s.checkNoneRefused(t)
	require.Greater(t, p.writes.Load(), int64(4))
}

// unpacked returns the lines of a write.
func unpacked(r *http.Request) string {
	packed, err := io.ReadAll(r.Body)
	if err != nil {
		return ""
	}
	r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(packed)), int64(len(packed))
	lines, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return ""
	}
	text, err := io.ReadAll(lines)
	if err != nil {
		return ""
	}
	return string(text)
}

// A server that refuses single readings with words nobody here knows: they are
// found. One that takes nothing at all does not blame the readings.
func TestRefusalsInUnknownWords(t *testing.T) {
	server := influxtest.Start(t)
	bucket := database(server)
	p := newProxy(t, server)
	s := open(t, newFiles(t), influx.Options{URL: p.URL, Bucket: bucket})
	readings := series("moorhof", year2025, 300, "flow_temp", "power")
	readings[2*77].Value = 4711

	p.inject(answer(http.StatusBadRequest, "the moon is in the wrong house"))
	append1(t, s, readings)
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	err := s.Drain(ctx, nil)
	require.ErrorContains(t, err, "no reading at all is taken")
	require.ErrorContains(t, err, "the moon is in the wrong house")
	s.checkNoneRefused(t)

	p.inject(func(w http.ResponseWriter, r *http.Request, pass http.Handler) {
		if strings.Contains(unpacked(r), "=4711") {
			answer(http.StatusUnprocessableEntity, "the moon is in the wrong house")(w, r, pass)
			return
		}
		pass.ServeHTTP(w, r)
	})
	s.drain(t)
	require.Equal(t, map[string]int{"moorhof flow_temp": 1}, quarantined(t, s))
	require.Equal(t, map[ingest.Channel]int{"flow_temp": 299, "power": 300}, counted(t, s, "moorhof", "flow_temp", "power"))
}

// With a mistake in the configuration readings wait, and the log says what
// would be right.
func TestAWrongSetupLosesNothing(t *testing.T) {
	server := influxtest.Start(t, "INFLUXDB_HTTP_AUTH_ENABLED=true")
	readings := newStream()
	s := open(t, newFiles(t), influx.Options{URL: server.URL(), Bucket: "plants"})
	s.forward(t)
	readings.append(t, s, 20)
	waits := func(why string) {
		t.Helper()
		eventually(t, func() bool { return strings.Contains(s.Stats().LastError, why) }, "%q", s.Stats().LastError)
		require.Error(t, s.Ping(t.Context()))
		s.checkNoneRefused(t)
	}
	waits(`make bucket "plants"`)
	server.Query("", `CREATE USER admin WITH PASSWORD 'secret' WITH ALL PRIVILEGES`)
	waits("give a valid token")
	require.NoError(t, s.Close())

	s.options.Token = "admin:secret"
	s = open(t, s.files, s.options)
	s.forward(t)
	waits(`make bucket "plants"`)
	_, err := s.Scan(t.Context(), "moorhof", streamChannels, year2025, year2025.AddDate(0, 0, 1))
	require.ErrorContains(t, err, `make bucket "plants"`)
	require.NoError(t, influx.Exec(t.Context(), s.Store, `CREATE DATABASE "plants"`))
	s.drain(t)
	require.NoError(t, s.Ping(t.Context()))
	require.NoError(t, influx.Exec(t.Context(), s.Store, `CREATE USER guest WITH PASSWORD 'guest'`))

	guest := open(t, newFiles(t), influx.Options{URL: server.URL(), Bucket: "plants", Token: "guest:guest"})
	require.ErrorContains(t, guest.Ping(t.Context()), `give a token that may read and write bucket "plants"`)
	for site, channels := range readings.held {
		for channel, held := range channels {
			require.Equal(t, len(held), counted(t, s, site, channel)[channel])
		}
	}
}

func TestPingSaysWhatIsWrong(t *testing.T) {
	server := influxtest.Start(t)
	s := open(t, newFiles(t), influx.Options{URL: server.URL(), Bucket: database(server)})
	require.NoError(t, s.Ping(t.Context()))
	require.True(t, s.Stats().Up)
	server.Stop()
	require.ErrorContains(t, s.Ping(t.Context()), "does not answer")
	require.False(t, s.Stats().Up)
}
