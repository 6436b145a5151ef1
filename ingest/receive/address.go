package receive

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"

	"coldweek/ingest/trust"
)

// transports are the schemes of a broker's address and their default ports.
var transports = map[string]struct {
	port   string
	secure bool
}{
	"tcp": {"1883", false}, "mqtt": {"1883", false},
	"ssl": {"8883", true}, "tls": {"8883", true}, "mqtts": {"8883", true},
	"ws": {"80", false}, "wss": {"443", true},
}

// parseAddress reads a broker's address; a missing port is filled in.
func parseAddress(address string) (*url.URL, error) {
	if !strings.Contains(address, "://") {
		return nil, fmt.Errorf("broker address %q has no scheme; write %q, or ssl:// with TLS, ws:// or wss:// over websockets", address, "tcp://"+address)
	}
	u, err := url.Parse(address)
	if err != nil {
		return nil, fmt.Errorf("broker address: %w; it looks like tcp://broker.example:1883", err)
	}
	transport, ok := transports[u.Scheme]
	switch {
	case !ok:
		return nil, fmt.Errorf("broker address %q: scheme %q is none of tcp, ssl, ws, wss", address, u.Scheme)
	case u.Hostname() == "":
		return nil, fmt.Errorf("broker address %q names no host; it looks like %s://broker.example:%s", address, u.Scheme, transport.port)
	case u.User != nil:
		return nil, fmt.Errorf("broker address %s holds a login; give user name and password file by their own settings", u.Redacted())
	case u.Path != "" && u.Path != "/" && !strings.HasPrefix(u.Scheme, "ws"):
		return nil, fmt.Errorf("broker address %q: only ws:// and wss:// have a path; topics come from the site records", address)
	}
	if u.Port() == "" {
		u.Host = net.JoinHostPort(u.Hostname(), transport.port)
	}
	return u, nil
}

// tlsConfig builds what a secure transport needs. The client certificate is
// read at every handshake, so a renewed one needs no restart.
func tlsConfig(u *url.URL, caFile, certFile, keyFile string) (*tls.Config, error) {
	if !transports[u.Scheme].secure {
		if caFile != "" || certFile != "" || keyFile != "" {
			return nil, fmt.Errorf("broker address %q is not encrypted, but certificate files are given; use ssl:// or wss://", u)
		}
		return nil, nil
	}
	roots, err := trust.Authorities(caFile)
	if err != nil {
		return nil, err
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: u.Hostname(), RootCAs: roots}
	if certFile == "" && keyFile == "" {
		return config, nil
	}
	if certFile == "" || keyFile == "" {
		return nil, errors.New("a client certificate needs both its certificate file and its key file")
	}
	read := func() (*tls.Certificate, error) {
		pair, err := tls.LoadX509KeyPair(certFile, keyFile)
		if err != nil {
			return nil, fmt.Errorf("read client certificate: %w", err)
		}
		return &pair, nil
	}
	if _, err := read(); err != nil {
		return nil, err
	}
	config.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return read() }
	return config, nil
}

// readPassword returns the first line of a file.
func readPassword(path string) (string, error) {
	if path == "" {
		return "", nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read broker password: %w", err)
	}
	line, _, _ := strings.Cut(string(text), "\n")
	line = strings.TrimSuffix(line, "\r")
	if line == "" {
		return "", fmt.Errorf("broker password file %q has an empty first line", path)
	}
	return line, nil
}
