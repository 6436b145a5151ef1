package brokertest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Authority issues certificates for a test.
type Authority struct {
	t      testing.TB
	dir    string
	key    *ecdsa.PrivateKey
	cert   *x509.Certificate
	serial int64

	CAFile string // PEM
}

// NewAuthority makes a certificate authority with its files in a folder of
// the test.
func NewAuthority(t testing.TB) *Authority {
	t.Helper()
	a := &Authority{t: t, dir: t.TempDir()}
	template := a.template("coldweek test authority")
	template.IsCA, template.BasicConstraintsValid = true, true
	template.KeyUsage = x509.KeyUsageCertSign
	var err error
	a.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	der, err := x509.CreateCertificate(rand.Reader, template, template, &a.key.PublicKey, a.key)
	require.NoError(t, err)
	a.cert, err = x509.ParseCertificate(der)
	require.NoError(t, err)
	a.CAFile = a.write("ca.pem", "CERTIFICATE", der)
	return a
}

// Issue writes a certificate for loopback, good for servers and clients, and
// its key. A second one under the same name replaces the first.
func (a *Authority) Issue(name string) (certFile, keyFile string) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a.t, err)
	der, err := x509.CreateCertificate(rand.Reader, a.template(name), a.cert, &key.PublicKey, a.key)
	require.NoError(a.t, err)
	private, err := x509.MarshalECPrivateKey(key)
	require.NoError(a.t, err)
	keyFile = a.write(name+".key", "EC PRIVATE KEY", private)
	return a.write(name+".pem", "CERTIFICATE", der), keyFile
}

func (a *Authority) template(name string) *x509.Certificate {
	a.serial++
	return &x509.Certificate{
		SerialNumber: big.NewInt(a.serial),
		Subject:      pkix.Name{CommonName: name},
		NotBefore:    time.Now().Add(-time.Hour),
		NotAfter:     time.Now().Add(time.Hour),
		KeyUsage:     x509.KeyUsageDigitalSignature,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
		IPAddresses:  []net.IP{net.IPv4(127, 0, 0, 1)},
		DNSNames:     []string{"localhost"},
	}
}

func (a *Authority) write(name, kind string, der []byte) string {
	path := filepath.Join(a.dir, name)
	require.NoError(a.t, os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600))
	return path
}
