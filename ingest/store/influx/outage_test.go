package influx_test

import (
	"bufio"
	"context"
	"fmt"
	"log"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/influx/influxtest"
	"coldweek/ingest/store/journal"
	"coldweek/ingest/store/local"
)

// The server goes away in the midst of a stream of appends and comes back.
func TestAnOutageLosesNothing(t *testing.T) {
	server := influxtest.Start(t)
	for name, outage := range map[string]struct{ begin, end func() }{
		"stopped": {server.Stop, server.Resume},
		"killed":  {server.Kill, server.Resume},
		"frozen":  {server.Freeze, server.Thaw},
	} {
		t.Run(name, func(t *testing.T) {
			bucket := database(server)
			s := open(t, newFiles(t), influx.Options{
				URL: server.URL(), Bucket: bucket, BatchSize: 500, Timeout: time.Second, Settle: time.Second,
			})
			s.forward(t)
			readings := newStream()
			readings.append(t, s, 60)
			eventually(t, func() bool { return s.Stats().ForwardedReadings > 0 }, "nothing was forwarded")
			require.True(t, s.Stats().Up)
			outage.begin()
			readings.append(t, s, 60)
			failed := s.Stats().FailedAttempts
			eventually(t, func() bool { return s.Stats().FailedAttempts > failed+1 }, "no attempt failed")
			require.False(t, s.Stats().Up)
			require.Contains(t, s.Stats().LastError, "InfluxDB at "+server.URL()+" does not answer")
			_, err := s.Scan(t.Context(), "moorhof", streamChannels, year2025, year2025.AddDate(0, 0, 1))
			require.ErrorContains(t, err, "does not answer")
			readings.append(t, s, 60)
			outage.end()
			readings.append(t, s, 60)
			s.drain(t)
			readings.checkHeld(t, server.URL(), bucket)
			s.checkNoneRefused(t)
			require.True(t, s.Stats().Up)
			require.Empty(t, s.Stats().LastError)
		})
	}
}

func TestFaultsOnTheWayLoseNothing(t *testing.T) {
	server := influxtest.Start(t)
	for name, f := range map[string]fault{
		"500":             answer(500, "engine: cache-max-memory-size exceeded"),
		"503":             answer(503, "busy"),
		"429":             answer(429, "slow down", "Retry-After", "0"),
		"cut before":      cutBefore,
		"cut after":       cutAfter,
		"slow":            slow,
		"part of a body":  shorten,
		"a proxy's login": answer(407, "who are you?"),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			bucket := database(server)
			p := newProxy(t, server)
			p.inject(often(f))
			s := open(t, newFiles(t), influx.Options{URL: p.URL, Bucket: bucket, BatchSize: 500, Timeout: 500 * time.Millisecond})
			s.forward(t)
			readings := newStream()
			readings.append(t, s, 40)
			eventually(t, func() bool { return p.writes.Load() >= 12 }, "few writes")
			p.inject(nil)
			readings.append(t, s, 40)
			s.drain(t)
			readings.checkHeld(t, server.URL(), bucket)
			s.checkNoneRefused(t)
		})
	}
}

// A write whose answer was not heard is done later, when the server is back: it
// must not bring back what was replaced meanwhile.
func TestALateWriteBringsNothingBack(t *testing.T) {
	server := influxtest.Start(t)
	bucket := database(server)
	p := newProxy(t, server)
	s := open(t, newFiles(t), influx.Options{URL: p.URL, Bucket: bucket, Timeout: 200 * time.Millisecond})
	given := make(chan struct{})
	var held http.Request
	p.inject(func(_ http.ResponseWriter, r *http.Request, _ http.Handler) {
		held = *r.WithContext(context.Background())
		p.inject(func(w http.ResponseWriter, r *http.Request, pass http.Handler) {
			ping := strings.HasPrefix(unpacked(r), "#")
			if !ping {
				pass.ServeHTTP(w, r)
			}
			pass.ServeHTTP(httptest.NewRecorder(), &held)
			p.inject(nil)
			if ping {
				pass.ServeHTTP(w, r)
			}
		})
		close(given)
		<-r.Context().Done()
	})
	at := ingest.Reading{Site: "moorhof", Channel: "power", Time: year2025, Value: 1}
	append1(t, s, []ingest.Reading{at})
	s.forward(t)
	<-given
	at.Value = 2
	append1(t, s, []ingest.Reading{at})
	s.drain(t)
	columns, err := s.Scan(t.Context(), "moorhof", []ingest.Channel{"power"}, year2025, year2025.AddDate(0, 0, 1))
	require.NoError(t, err)
	require.Equal(t, []float64{2}, columns[0].Value)
}

// With this in its environment the test binary forwards a journal until it is
// killed, and says so.
const (
	forwardJournal = "COLDWEEK_TEST_FORWARD_JOURNAL"
	forwardURL     = "COLDWEEK_TEST_FORWARD_URL"
	forwardBucket  = "COLDWEEK_TEST_FORWARD_BUCKET"
)

func TestMain(m *testing.M) {
	if path := os.Getenv(forwardJournal); path != "" {
		log.Fatal(forwardUntilKilled(path))
	}
	os.Exit(m.Run())
}

func forwardUntilKilled(path string) error {
	ctx := context.Background()
	j, err := journal.Open(ctx, path, journal.Options{})
	if err != nil {
		return err
	}
	q, err := local.Open(ctx, path+".quarantine", local.Options{})
	if err != nil {
		return err
	}
	s, err := influx.Open(ctx, influx.Options{
		URL: os.Getenv(forwardURL), Bucket: os.Getenv(forwardBucket), Journal: j, Quarantine: q,
		BatchSize: 100, Linger: time.Millisecond,
	})
	if err != nil {
		return err
	}
	go func() {
		for told := int64(0); ; time.Sleep(time.Millisecond) {
			if n := s.Stats().ForwardedReadings; n > told {
				told = n
				fmt.Println(n)
			}
		}
	}()
	return s.Forward(ctx)
}

// forwarder runs a process that forwards a journal, and returns when it has
// forwarded something.
func forwarder(t *testing.T, f files, url, bucket string) *exec.Cmd {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), forwardJournal+"="+f.journal, forwardURL+"="+url, forwardBucket+"="+bucket)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	require.True(t, bufio.NewScanner(out).Scan(), "the forwarder ended by itself")
	return child
}

// One process forwards what another appends, is killed again and again, and the
// last time the other takes over.
func TestProcessesShareAJournal(t *testing.T) {
	server := influxtest.Start(t)
	bucket := database(server)
	s := open(t, newFiles(t), influx.Options{URL: server.URL(), Bucket: bucket, BatchSize: 500})
	readings := newStream()
	readings.append(t, s, 40)
	for round := range 4 {
		child := forwarder(t, s.files, server.URL(), bucket)
		if round == 3 {
			s.forward(t)
		}
		readings.append(t, s, 40)
		require.Zero(t, s.Stats().ForwardedReadings, "two forward at once")
		require.NoError(t, child.Process.Kill())
		_ = child.Wait()
	}
	readings.append(t, s, 40)
	eventually(t, func() bool { return s.Stats().ForwardedReadings > 0 }, "nobody took over")
	s.drain(t)
	readings.checkHeld(t, server.URL(), bucket)
	s.checkNoneRefused(t)
}

// Several machines write the same site, each with its journal: whichever
// appends, the revision grows for all, and no step of forwarding takes it back.
func TestRevisionsGrowWithSeveralIngesters(t *testing.T) {
	server := influxtest.Start(t)
	bucket := database(server)
	var machines []*opened
	for range 3 {
		machines = append(machines, open(t, newFiles(t), influx.Options{URL: server.URL(), Bucket: bucket}))
	}
	at := year2025
	revision := func(s *opened) int64 {
		t.Helper()
		n, err := store.Revision(t.Context(), s, "moorhof", at, at.Add(24*time.Hour))
		require.NoError(t, err)
		return n
	}
	last := int64(0)
	for i := range 12 {
		s := machines[i%3]
		_, err := s.Append(t.Context(), []ingest.Reading{{Site: "moorhof", Channel: "power", Time: at.Add(time.Duration(i) * time.Hour), Value: 1}})
		require.NoError(t, err)
		waiting := revision(s)
		require.Greater(t, waiting, last)
		s.drain(t)
		require.Equal(t, waiting, revision(s))
		last = waiting
		for _, other := range machines {
			require.Equal(t, last, revision(other))
		}
	}
	require.NoError(t, machines[0].Close())
	require.NoError(t, os.Remove(machines[0].files.journal))
	anew := open(t, machines[0].files, machines[0].options)
	require.Equal(t, last, revision(anew), "the journal was lost, not what it had forwarded")
	_, err := anew.Append(t.Context(), []ingest.Reading{{Site: "moorhof", Channel: "power", Time: at, Value: 2}})
	require.NoError(t, err)
	require.Greater(t, revision(anew), last)
}
