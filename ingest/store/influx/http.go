package influx

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"time"
)

const connections = 8 // kept open to the server

// newHTTPClient returns a client that trusts the certificates of caFile, the
// system's when it is empty.
func newHTTPClient(caFile string) (*http.Client, error) {
	transport := &http.Transport{
		Proxy:               http.ProxyFromEnvironment,
		DialContext:         (&net.Dialer{Timeout: 5 * time.Second, KeepAlive: 15 * time.Second}).DialContext,
		TLSHandshakeTimeout: 10 * time.Second,
		MaxIdleConnsPerHost: connections,
		IdleConnTimeout:     60 * time.Second,
	}
	if caFile != "" {
		pem, err := os.ReadFile(caFile)
		if err != nil {
			return nil, fmt.Errorf("certificates to trust: %w", err)
		}
		roots := x509.NewCertPool()
		if !roots.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("certificates to trust: %q holds none in PEM", caFile)
		}
		transport.TLSClientConfig = &tls.Config{RootCAs: roots}
	}
	return &http.Client{Transport: transport}, nil
}

var errSilent = errors.New("no answer in time")

// patience ends a context when nothing has come for a while.
type patience struct {
	cancel context.CancelCauseFunc
	timer  *time.Timer
	wait   time.Duration
}

// patient returns a context that ends wait after the last call of went.
func patient(ctx context.Context, wait time.Duration) (context.Context, *patience) {
	ctx, cancel := context.WithCancelCause(ctx)
	p := &patience{cancel: cancel, wait: wait}
	p.timer = time.AfterFunc(wait, func() { cancel(fmt.Errorf("%w (%s)", errSilent, wait)) })
	return ctx, p
}

func (p *patience) went() { p.timer.Reset(p.wait) }

func (p *patience) end() {
	p.timer.Stop()
	p.cancel(nil)
}

// patientReader renews the patience with each read.
type patientReader struct {
	io.Reader
	patience *patience
}

func (r patientReader) Read(b []byte) (int, error) {
	n, err := r.Reader.Read(b)
	r.patience.went()
	return n, err
}

// unanswered explains an error of the transport: that of the caller's context
// when it is done, else that the server does not answer.
func (s *Store) unanswered(ctx, inner context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if cause := context.Cause(inner); errors.Is(cause, errSilent) {
		err = cause
	}
	return &unreachableError{address: s.address, err: err}
}

// unreachableError says that the server cannot be reached or went away.
type unreachableError struct {
	address string
	err     error
}

func (e *unreachableError) Error() string {
	return fmt.Sprintf("InfluxDB at %s does not answer: %v", e.address, e.err)
}

func (e *unreachableError) Unwrap() error { return e.err }
