// Package influxtest runs a real InfluxDB 1.8 on loopback for tests: with its
// data in a folder of the test, a free port, and the means to stop, kill,
// freeze and start it again.
package influxtest

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// Server is an influxd process that ends with its test.
type Server struct {
	*programtest.Process
	t    testing.TB
	data string
	port int
}

// Program returns the path of influxd: $COLDWEEK_INFLUXD, or that of PATH.
// Without it the test is skipped, or fails when COLDWEEK_ALL=1.
func Program(t testing.TB) string {
	t.Helper()
	name := "influxd"
	if path := os.Getenv("COLDWEEK_INFLUXD"); path != "" {
		name = path
	}
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	programtest.Missing(t, fmt.Sprintf("influxd 1.8 is not there: %v; put it on PATH or name it in COLDWEEK_INFLUXD"+
		" (go install github.com/influxdata/influxdb/cmd/influxd@v1.8.10)", err))
	return ""
}

// Flux is the setting for a server that answers Flux too, which takes it some
// seconds of start; InfluxQL and both write interfaces need no setting.
const Flux = "INFLUXDB_HTTP_FLUX_ENABLED=true"

// Nothing told to the maker, everything on loopback. The rest is as InfluxDB
// comes, the write-ahead log synced on each write.
const configuration = `reporting-disabled = true
bind-address = "127.0.0.1:0"
[meta]
  dir = "%[1]s/meta"
[data]
  dir = "%[1]s/data"
  wal-dir = "%[1]s/wal"
  query-log-enabled = false
[monitor]
  store-enabled = false
[http]
  bind-address = "127.0.0.1:%[2]d"
  log-enabled = false
[logging]
  level = "warn"
`

// Start runs influxd. Settings are of its environment and go over the
// configuration: Flux, or "INFLUXDB_HTTP_AUTH_ENABLED=true".
func Start(t testing.TB, settings ...string) *Server {
	t.Helper()
	dir := t.TempDir()
	binary, config := Program(t), filepath.Join(dir, "influxdb.conf")
	s := &Server{t: t, data: filepath.Join(dir, "influxdb")}
	s.Process = programtest.New(t, filepath.Join(dir, "influxd.log"), func() *exec.Cmd {
		cmd := exec.Command(binary, "-config", config)
		cmd.Env = append(os.Environ(), settings...)
		return cmd
	})
	for range 5 { // somebody else may take the port before the server does
		s.port = programtest.FreePort(t)
		text := fmt.Sprintf(configuration, filepath.ToSlash(s.data), s.port)
		require.NoError(t, os.WriteFile(config, []byte(text), 0o600))
		if s.Begin(s.answers, time.Minute) {
			t.Cleanup(s.Kill)
			return s
		}
	}
	require.Fail(t, "influxd does not begin", "see %s", s.Log())
	return nil
}

// Address returns host and port.
func (s *Server) Address() string { return fmt.Sprintf("127.0.0.1:%d", s.port) }

// URL returns the address for clients.
func (s *Server) URL() string { return "http://" + s.Address() }

// DataDir returns the folder of its data, metadata and write-ahead log.
func (s *Server) DataDir() string { return s.data }

// Resume starts the server after Stop or Kill, with the data it left on disk
// and at the same address, and returns when it answers.
func (s *Server) Resume() {
	s.t.Helper()
	require.True(s.t, s.Begin(s.answers, time.Minute), "influxd does not answer; see %s", s.Log())
}

func (s *Server) answers() bool {
	conn, err := net.Dial("tcp", s.Address())
	if err != nil {
		return false
	}
	_ = conn.Close()
	answer, err := http.Get(s.URL() + "/ping")
	if err != nil {
		return false
	}
	return answer.Body.Close() == nil && answer.StatusCode == http.StatusNoContent
}

// CreateDatabase makes a database that keeps everything for ever.
func (s *Server) CreateDatabase(name string) {
	s.t.Helper()
	s.Query("", fmt.Sprintf("CREATE DATABASE %q", name))
}

// Write writes line protocol with times in milliseconds.
func (s *Server) Write(database string, lines ...string) {
	s.t.Helper()
	address := s.URL() + "/write?" + url.Values{"db": {database}, "precision": {"ms"}}.Encode()
	answer, err := http.Post(address, "text/plain", strings.NewReader(strings.Join(lines, "\n")))
	require.NoError(s.t, err)
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	require.NoError(s.t, err)
	require.Equal(s.t, http.StatusNoContent, answer.StatusCode, "%s", text)
}

// Series is one table of an answer.
type Series struct {
	Name    string            `json:"name"`
	Tags    map[string]string `json:"tags"`
	Columns []string          `json:"columns"`
	Values  [][]any           `json:"values"` // times as Unix milliseconds, numbers as json.Number
}

// Query runs an InfluxQL statement and returns its answer.
func (s *Server) Query(database, statement string) []Series {
	s.t.Helper()
	form := url.Values{"db": {database}, "q": {statement}, "epoch": {"ms"}}
	answer, err := http.PostForm(s.URL()+"/query", form)
	require.NoError(s.t, err)
	defer func() { _ = answer.Body.Close() }()
	var body struct {
		Error   string
		Results []struct {
			Error  string
			Series []Series
		}
	}
	decoder := json.NewDecoder(answer.Body)
	decoder.UseNumber()
	require.NoError(s.t, decoder.Decode(&body))
	require.Empty(s.t, body.Error, statement)
	require.Len(s.t, body.Results, 1, statement)
	require.Empty(s.t, body.Results[0].Error, statement)
	return body.Results[0].Series
}
