// Package trust reads which certificate authorities a connection is to believe.
package trust

import (
	"crypto/x509"
	"fmt"
	"os"
)

// Authorities reads a PEM file of certificates; nil, which stands for those of the
// system, when there is no file.
func Authorities(file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	pem, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read CA certificates: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("CA file %q holds no PEM certificate", file)
	}
	return pool, nil
}
