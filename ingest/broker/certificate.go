package broker

import (
	"bytes"
	"crypto/tls"
	"errors"
	"fmt"
	"os"
	"sync/atomic"
)

// certificate is a server certificate that is read again when it changes, so
// that a renewed one needs no restart.
type certificate struct {
	certFile, keyFile string
	pair              atomic.Pointer[tls.Certificate]
	cert, key         []byte // as last read; used by one goroutine
}

// readCertificate returns nil when neither file is given.
func readCertificate(certFile, keyFile string) (*certificate, error) {
	if certFile == "" && keyFile == "" {
		return nil, nil
	}
	if certFile == "" || keyFile == "" {
		return nil, errors.New("TLS needs both a certificate file and a key file")
	}
	c := &certificate{certFile: certFile, keyFile: keyFile}
	_, err := c.reload()
	return c, err
}

// reload reads the files and says whether they changed. After an error, as
// between the writing of the one and the other, the former certificate is
// used on.
func (c *certificate) reload() (changed bool, err error) {
	cert, err := os.ReadFile(c.certFile)
	if err != nil {
		return false, fmt.Errorf("read TLS certificate: %w", err)
	}
	key, err := os.ReadFile(c.keyFile)
	if err != nil {
		return false, fmt.Errorf("read TLS key: %w", err)
	}
	if bytes.Equal(cert, c.cert) && bytes.Equal(key, c.key) {
		return false, nil
	}
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		return false, fmt.Errorf("use TLS certificate %q with key %q: %w", c.certFile, c.keyFile, err)
	}
	c.cert, c.key = cert, key
	c.pair.Store(&pair)
	return true, nil
}

func (c *certificate) config() *tls.Config {
	return &tls.Config{
		MinVersion:     tls.VersionTLS12,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return c.pair.Load(), nil },
	}
}
