// Package programtest finds and runs the programs that tests need beside us:
// brokers, databases, whatever is not a package of Go.
package programtest

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

// Find returns the path of a program. Without it the test is skipped, or fails
// when COLDWEEK_ALL=1; the package is Debian's that has it.
func Find(t testing.TB, name, debianPackage string) string {
	t.Helper()
	for _, dir := range []string{"", "/usr/sbin/", "/usr/local/sbin/"} {
		if path, err := exec.LookPath(dir + name); err == nil {
			return path
		}
	}
	Missing(t, fmt.Sprintf("%s is not installed (Debian: apt-get install %s)", name, debianPackage))
	return ""
}

// Missing skips the test for want of a program, or fails it when COLDWEEK_ALL=1.
func Missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("COLDWEEK_ALL") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// FreePort returns a TCP port of loopback that nothing listened on just now.
func FreePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port
}

// stopGrace is how long a program may take to end by itself.
const stopGrace = time.Minute

// Process is a program that can be ended and begun again. What it writes goes to
// the end of a file.
type Process struct {
	t       testing.TB
	log     string
	command func() *exec.Cmd
	cmd     *exec.Cmd
	exited  chan struct{}
}

// New returns a process that is not running yet; command makes what each Begin
// runs.
func New(t testing.TB, log string, command func() *exec.Cmd) *Process {
	return &Process{t: t, log: log, command: command}
}

// Begin starts the program and returns whether, within the limit, it came to
// answer; false too when it ended first.
func (p *Process) Begin(answers func() bool, limit time.Duration) bool {
	p.t.Helper()
	log, err := os.OpenFile(p.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(p.t, err)
	defer func() { _ = log.Close() }()
	p.cmd = p.command()
	p.cmd.Stdout, p.cmd.Stderr = log, log
	require.NoError(p.t, p.cmd.Start())
	p.exited = make(chan struct{})
	go func(cmd *exec.Cmd, exited chan<- struct{}) {
		_ = cmd.Wait()
		close(exited)
	}(p.cmd, p.exited)
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		select {
		case <-p.exited:
			return false
		default:
		}
		if answers() {
			return true
		}
	}
	p.Kill()
	return false
}

// Stop ends the program with SIGTERM and waits for it; one that does not end is
// killed.
func (p *Process) Stop() { p.end(syscall.SIGTERM) }

// Kill ends the program with SIGKILL; what it had not saved is gone.
func (p *Process) Kill() { p.end(syscall.SIGKILL) }

// Freeze stops the process where it is, connections open.
func (p *Process) Freeze() {
	require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGSTOP))
	require.Eventually(p.t, p.stands, 10*time.Second, time.Millisecond)
}

// stands says whether each thread of the process has stopped, which takes a moment
// after the signal; where there is no /proc, it is taken to have.
func (p *Process) stands() bool {
	threads, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", p.cmd.Process.Pid))
	for _, path := range threads {
		text, err := os.ReadFile(path)
		if err != nil {
			continue // the thread has ended
		}
		// The state follows the name, which stands in brackets (proc(5)).
		if _, state, _ := strings.Cut(string(text), ") "); !strings.HasPrefix(state, "T") {
			return false
		}
	}
	return true
}

// Thaw lets a frozen process go on.
func (p *Process) Thaw() { require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGCONT)) }

func (p *Process) end(signal os.Signal) {
	_ = p.cmd.Process.Signal(signal)
	select {
	case <-p.exited:
	case <-time.After(stopGrace):
		_ = p.cmd.Process.Kill()
		<-p.exited
	}
}

// Log returns what the program wrote so far.
func (p *Process) Log() string {
	text, err := os.ReadFile(p.log)
	if err != nil {
		return err.Error()
	}
	return string(text)
}
