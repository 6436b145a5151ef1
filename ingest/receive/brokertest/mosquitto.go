// Package brokertest runs Mosquitto on loopback for tests that need an MQTT
// broker which is not ours: with its data in a folder of the test, a free
// port, and the means to stop, kill, freeze and start it again.
package brokertest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// Mosquitto is a broker process that ends with its test. Stop has it write its
// persistence file.
type Mosquitto struct {
	*programtest.Process
	t    testing.TB
	port int
}

// Durable is the configuration that deploy/ advises for a broker that must
// not lose messages: persistent sessions on disk, a large window of
// unacknowledged messages, and a queue that holds a long outage. Its length is
// a number, as with 0, "no limit", Mosquitto up to 2.0.21 cuts off a client
// whose message the access list refuses. A test of deploy/ keeps the two alike.
const Durable = `persistence true
autosave_interval 1
autosave_on_changes false
max_inflight_messages 4000
max_queued_messages 100000000
max_queued_bytes 0
`

// Start runs Mosquitto with the lines of configuration given, and anonymous
// access.
func Start(t testing.TB, config string) *Mosquitto {
	t.Helper()
	dir := t.TempDir()
	binary, file := programtest.Find(t, "mosquitto", "mosquitto"), filepath.Join(dir, "mosquitto.conf")
	m := &Mosquitto{t: t, port: programtest.FreePort(t)}
	m.Process = programtest.New(t, filepath.Join(dir, "mosquitto.log"), func() *exec.Cmd { return exec.Command(binary, "-c", file) })
	// Mosquitto leaves root's rights for a user "mosquitto" that cannot write
	// to the test's folder, unless told to stay.
	lines := fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\nuser root\npersistence_location %s/\n%s", m.port, dir, config)
	require.NoError(t, os.WriteFile(file, []byte(lines), 0o600))
	m.Resume()
	t.Cleanup(m.Kill)
	return m
}

// URL returns the address for clients.
func (m *Mosquitto) URL() string { return fmt.Sprintf("tcp://127.0.0.1:%d", m.port) }

// Resume starts the broker after Stop or Kill, with the data it left on disk,
// and returns when it accepts connections.
func (m *Mosquitto) Resume() {
	m.t.Helper()
	require.True(m.t, m.Begin(m.accepts, 10*time.Second), "mosquitto does not listen; see %s", m.Log())
}

func (m *Mosquitto) accepts() bool {
	conn, err := net.Dial("tcp", strings.TrimPrefix(m.URL(), "tcp://"))
	if err != nil {
		return false
	}
	return conn.Close() == nil
}
