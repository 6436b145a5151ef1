package broker

import (
	"crypto/tls"
	"errors"
	"fmt"
	"os"
	"sync/atomic"
	"time"
)

// certificate is a server certificate that is read again when its file
// changes, so that a renewed one needs no restart.
type certificate struct {
	certFile, keyFile string
	pair              atomic.Pointer[tls.Certificate]
	modified          time.Time // of certFile; used by one goroutine
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

// reload reads the files if the certificate changed. After an error the
// former certificate is used on.
func (c *certificate) reload() (changed bool, err error) {
	info, err := os.Stat(c.certFile)
	if err != nil {
		return false, fmt.Errorf("read TLS certificate: %w", err)
	}
	if info.ModTime().Equal(c.modified) {
		return false, nil
	}
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	if err != nil {
		return false, fmt.Errorf("read TLS certificate %q with key %q: %w", c.certFile, c.keyFile, err)
	}
	c.modified = info.ModTime()
	c.pair.Store(&pair)
	return true, nil
}

func (c *certificate) config() *tls.Config {
	return &tls.Config{
		MinVersion:     tls.VersionTLS12,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return c.pair.Load(), nil },
	}
}
