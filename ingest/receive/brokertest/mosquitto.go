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
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Mosquitto is a broker process that ends with its test.
type Mosquitto struct {
	t      testing.TB
	binary string
	config string
	log    string
	port   int
	cmd    *exec.Cmd
	exited chan struct{}
}

// Program returns the path of a program. Without it the test is skipped, or
// fails when COLDWEEK_ALL=1; the package is Debian's that has it.
func Program(t testing.TB, name, debianPackage string) string {
	t.Helper()
	for _, dir := range []string{"", "/usr/sbin/", "/usr/local/sbin/"} {
		if path, err := exec.LookPath(dir + name); err == nil {
			return path
		}
	}
	missing := fmt.Sprintf("%s is not installed (Debian: apt-get install %s)", name, debianPackage)
	if os.Getenv("COLDWEEK_ALL") == "1" {
		t.Fatal(missing)
	}
	t.Skip(missing)
	return ""
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
	m := &Mosquitto{
		t:      t,
		binary: Program(t, "mosquitto", "mosquitto"),
		config: filepath.Join(dir, "mosquitto.conf"),
		log:    filepath.Join(dir, "mosquitto.log"),
		port:   FreePort(t),
	}
	// Mosquitto leaves root's rights for a user "mosquitto" that cannot write
	// to the test's folder, unless told to stay.
	lines := fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\nuser root\npersistence_location %s/\n%s", m.port, dir, config)
	require.NoError(t, os.WriteFile(m.config, []byte(lines), 0o600))
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
	log, err := os.OpenFile(m.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(m.t, err)
	defer func() { _ = log.Close() }()
	m.cmd = exec.Command(m.binary, "-c", m.config)
	m.cmd.Stdout, m.cmd.Stderr = log, log
	require.NoError(m.t, m.cmd.Start())
	m.exited = make(chan struct{})
	go func(cmd *exec.Cmd, exited chan<- struct{}) {
		_ = cmd.Wait()
		close(exited)
	}(m.cmd, m.exited)
	require.Eventually(m.t, m.accepts, 10*time.Second, 5*time.Millisecond, "mosquitto does not listen; see %s", m.Log())
}

func (m *Mosquitto) accepts() bool {
	conn, err := net.Dial("tcp", strings.TrimPrefix(m.URL(), "tcp://"))
	if err != nil {
		return false
	}
	return conn.Close() == nil
}

// Stop ends the broker with SIGTERM, upon which it writes its persistence
// file.
func (m *Mosquitto) Stop() { m.end(syscall.SIGTERM) }

// Kill ends the broker with SIGKILL; what it had not saved is gone.
func (m *Mosquitto) Kill() { m.end(syscall.SIGKILL) }

// Freeze stops the process where it is, connections open.
func (m *Mosquitto) Freeze() { require.NoError(m.t, m.cmd.Process.Signal(syscall.SIGSTOP)) }

// Thaw lets a frozen process go on.
func (m *Mosquitto) Thaw() { require.NoError(m.t, m.cmd.Process.Signal(syscall.SIGCONT)) }

func (m *Mosquitto) end(signal os.Signal) {
	select {
	case <-m.exited:
	default:
		_ = m.cmd.Process.Signal(signal)
		<-m.exited
	}
}

// Log returns what the broker wrote so far.
func (m *Mosquitto) Log() string {
	text, err := os.ReadFile(m.log)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// FreePort returns a TCP port of loopback that nothing listened on just now.
func FreePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port
}
