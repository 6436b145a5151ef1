// Package deliver carries one message out of the house: as e-mail over SMTP, as
// a signed POST to a webhook, or to an MQTT topic. It keeps nothing and repeats
// nothing; an error says whether, and how much, there is to try again.
//
// None of the three ways can promise "exactly once": the other side may have
// taken a message whose answer never came back. So every message carries a name
// that stays the same however often it is sent, as Message-ID or as
// Idempotency-Key, and a reader that honours it shows the message once. SMTP has
// nothing better to offer (RFC 1047). A retained MQTT message replaces itself.
package deliver

import (
	"crypto/tls"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"coldweek/ingest/trust"
)

// patience is how long the other side may take over one step.
const patience = 20 * time.Second

// Scope is what a failure concerns.
type Scope string

// The scopes.
const (
	All   Scope = "all"   // nothing gets through at present: not reached, not trusted, not let in
	One   Scope = "one"   // this message, for now; others may get through
	Never Scope = "never" // this message, for good
)

// Failure is why a message was not delivered.
type Failure struct {
	Scope Scope
	Pause time.Duration // how long the other side asks to wait, 0 when it does not say
	Err   error
}

func (f *Failure) Error() string { return f.Err.Error() }
func (f *Failure) Unwrap() error { return f.Err }

// AsFailure returns the failure that an error is; one of unknown kind closes the
// way, as there is then no knowing that the next message would fare better.
func AsFailure(err error) *Failure {
	var f *Failure
	if errors.As(err, &f) {
		return f
	}
	return &Failure{Scope: All, Err: err}
}

func fail(scope Scope, format string, args ...any) *Failure {
	return &Failure{Scope: scope, Err: fmt.Errorf(format, args...)}
}

// secret returns the first line of a file; it is read anew for every
// connection, so that a changed one needs no restart.
func secret(what, path string) (string, error) {
	if path == "" {
		return "", nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read %s: %w", what, err)
	}
	line, _, _ := strings.Cut(string(text), "\n")
	line = strings.TrimSuffix(line, "\r")
	if line == "" {
		return "", fmt.Errorf("%s file %q has an empty first line", what, path)
	}
	return line, nil
}

// secured is TLS with a server of that name, known by the authorities of a PEM
// file or, without one, by those of the system.
func secured(host, caFile string) (*tls.Config, error) {
	roots, err := trust.Authorities(caFile)
	if err != nil {
		return nil, err
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, ServerName: host, RootCAs: roots}, nil
}

// line is text for a place that holds one line: without line breaks and other
// control characters.
func line(text string) string {
	return strings.Join(strings.FieldsFunc(text, func(r rune) bool {
		return r == ' ' || r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == 0x2028 || r == 0x2029
	}), " ")
}
