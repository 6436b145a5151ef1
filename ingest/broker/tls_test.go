package broker_test

import (
	"crypto/tls"
	"crypto/x509"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/broker"
	"coldweek/ingest/receive/brokertest"
)

func trust(t *testing.T, a *brokertest.Authority) *tls.Config {
	t.Helper()
	pem, err := os.ReadFile(a.CAFile)
	require.NoError(t, err)
	roots := x509.NewCertPool()
	require.True(t, roots.AppendCertsFromPEM(pem))
	return &tls.Config{RootCAs: roots}
}

func TestEncryptedAndTheCertificateRenewed(t *testing.T) {
	authority := brokertest.NewAuthority(t)
	cert, key := authority.Issue("broker")
	s := newStation(t, func(o *broker.Options) { o.TLSCertFile, o.TLSKeyFile = cert, key })
	address := s.broker.Addr().String()
	options := s.options(mill, millPassword, "gateway").SetTLSConfig(trust(t, authority))
	options.Servers = nil
	client := s.connect(options.AddBroker("ssl://" + address))
	publish(t, client, 1, "coldweek/"+mill+"/power", "900")
	assert.Equal(t, []float64{900}, s.values(mill, "power"))

	old := trust(t, authority)
	old.MaxVersion = tls.VersionTLS11
	_, err := tls.Dial("tcp", address, old)
	assert.Error(t, err, "TLS 1.1 is refused")

	plain := mqtt.NewClient(s.options(mill, millPassword, "plain")).Connect()
	require.True(t, plain.WaitTimeout(within))
	assert.Error(t, plain.Error(), "and so is no TLS")

	serial := func() string {
		conn, err := tls.Dial("tcp", address, trust(t, authority))
		require.NoError(t, err)
		defer func() { _ = conn.Close() }()
		return conn.ConnectionState().PeerCertificates[0].SerialNumber.String()
	}
	before := serial()
	authority.Issue("broker")
	assert.Eventually(t, func() bool { return serial() != before }, within, 50*time.Millisecond)
	assert.True(t, client.IsConnectionOpen())
}

func TestOptionsThatCannotWork(t *testing.T) {
	dir := t.TempDir()
	logins, err := broker.ReadLogins(filepath.Join(dir, "logins.yaml"))
	require.NoError(t, err)
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = taken.Close() }()
	check := func(want string, change func(*broker.Options)) {
		t.Helper()
		o := broker.Options{Listen: "127.0.0.1:0", Logins: logins, Intake: unused{}, Logger: slog.New(slog.DiscardHandler)}
		change(&o)
		_, err := broker.New(o)
		assert.ErrorContains(t, err, want)
	}
	check("needs logins, an intake and a logger", func(o *broker.Options) { o.Logins = nil })
	check("both a certificate file and a key file", func(o *broker.Options) { o.TLSCertFile = "x" })
	check("no such file", func(o *broker.Options) { o.TLSCertFile, o.TLSKeyFile = dir+"/x", dir+"/y" })
	check("address already in use", func(o *broker.Options) { o.Listen = taken.Addr().String() })
	check("missing port in address", func(o *broker.Options) { o.Listen = "127.0.0.1" })
}
