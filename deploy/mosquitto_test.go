package deploy

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
	"coldweek/ingest/receive/brokertest"
)

// within bounds the waiting for what must happen; what comes ends it at once.
const within = 30 * time.Second

// broker is Mosquitto with the configuration of this folder, its paths and port
// those of the test.
type broker struct {
	t       *testing.T
	secrets secrets
	port    int
	process *os.Process
}

func startBroker(t *testing.T, s secrets) *broker {
	t.Helper()
	program := programtest.Find(t, "mosquitto", "mosquitto")
	dir := t.TempDir()
	b := &broker{t: t, secrets: s, port: programtest.FreePort(t)}
	// As root, Mosquitto would become a user who cannot read the test's files.
	config := "user root\n" + strings.NewReplacer(
		"listener 8883", fmt.Sprintf("listener %d 127.0.0.1", b.port),
		"/mosquitto/private/", s.file("mosquitto")+"/",
		"/mosquitto/config/", absolute(t, "mosquitto")+"/",
		"/mosquitto/data/", dir+"/",
	).Replace(read(t, "mosquitto/mosquitto.conf"))
	path := filepath.Join(dir, "mosquitto.conf")
	require.NoError(t, os.WriteFile(path, []byte(config), 0o600))
	log, err := os.Create(filepath.Join(dir, "log"))
	require.NoError(t, err)
	defer func() { _ = log.Close() }()
	command := exec.Command(program, "-c", path)
	command.Stdout, command.Stderr = log, log
	require.NoError(t, command.Start())
	b.process = command.Process
	t.Cleanup(func() {
		_ = command.Process.Kill()
		_ = command.Wait()
	})
	require.Eventually(t, b.listens, within, 5*time.Millisecond, "see %s", log.Name())
	t.Cleanup(func() {
		if t.Failed() {
			t.Log(read(t, log.Name()))
		}
	})
	return b
}

func (b *broker) address() string { return fmt.Sprintf("127.0.0.1:%d", b.port) }

func (b *broker) listens() bool {
	conn, err := net.Dial("tcp", b.address())
	if err != nil {
		return false
	}
	return conn.Close() == nil
}

func (b *broker) roots() *x509.CertPool {
	roots := x509.NewCertPool()
	require.True(b.t, roots.AppendCertsFromPEM([]byte(read(b.t, b.secrets.file("ca.crt")))))
	return roots
}

// try connects over TLS.
func (b *broker) try(user, password string) (mqtt.Client, error) {
	options := mqtt.NewClientOptions().AddBroker("ssl://" + b.address()).
		SetTLSConfig(&tls.Config{RootCAs: b.roots(), ServerName: "localhost"}).
		SetClientID(fmt.Sprintf("%s-%d", user, time.Now().UnixNano())).
		SetUsername(user).SetPassword(password).SetAutoReconnect(false).SetConnectTimeout(within)
	client := mqtt.NewClient(options)
	token := client.Connect()
	require.True(b.t, token.WaitTimeout(within))
	return client, token.Error()
}

func (b *broker) connect(user, password string) mqtt.Client {
	b.t.Helper()
	client, err := b.try(user, password)
	require.NoError(b.t, err)
	b.t.Cleanup(func() { client.Disconnect(0) })
	return client
}

// coldweek connects with the login that the script made.
func (b *broker) coldweek() mqtt.Client {
	b.t.Helper()
	return b.connect("coldweek", strings.TrimSpace(read(b.t, b.secrets.file("coldweek/broker.password"))))
}

func publish(t *testing.T, client mqtt.Client, topic string) {
	t.Helper()
	token := client.Publish(topic, 1, false, "1")
	require.True(t, token.WaitTimeout(within))
	require.NoError(t, token.Error())
}

// hear subscribes and returns the topics that come.
func hear(t *testing.T, client mqtt.Client, filters ...string) <-chan string {
	t.Helper()
	heard := make(chan string, 100)
	for _, filter := range filters {
		token := client.Subscribe(filter, 1, func(_ mqtt.Client, m mqtt.Message) { heard <- m.Topic() })
		require.True(t, token.WaitTimeout(within))
		require.NoError(t, token.Error())
	}
	return heard
}

func next(t *testing.T, heard <-chan string) string {
	t.Helper()
	select {
	case topic := <-heard:
		return topic
	case <-time.After(within):
		require.Fail(t, "nothing came")
		return ""
	}
}

func TestSiteWritesItsOwnTopicsOnly(t *testing.T) {
	s := makeSecrets(t)
	mill, barn := s.site(t, "mill-cottage"), s.site(t, "tithe-barn")
	b := startBroker(t, s)
	heard := hear(t, b.coldweek(), "coldweek/#")
	site, other := b.connect("mill-cottage", mill), b.connect("tithe-barn", barn)

	publish(t, other, "coldweek/tithe-barn/flow_temp")
	assert.Equal(t, "coldweek/tithe-barn/flow_temp", next(t, heard))
	// What is not allowed is acknowledged and thrown away. The broker takes a
	// client's messages in order, so the last one tells of those before it.
	for _, topic := range []string{"coldweek/tithe-barn/flow_temp", "coldweek/tithe-barn/senml", "coldweek/x", "coldweek", "x", "coldweek/mill-cottage2/power"} {
		publish(t, site, topic)
	}
	publish(t, site, "coldweek/mill-cottage/room_temp/kitchen")
	assert.Equal(t, "coldweek/mill-cottage/room_temp/kitchen", next(t, heard))
	publish(t, site, "coldweek/mill-cottage/senml")
	assert.Equal(t, "coldweek/mill-cottage/senml", next(t, heard))
}

func TestSiteReadsNothing(t *testing.T) {
	s := makeSecrets(t)
	mill, barn := s.site(t, "mill-cottage"), s.site(t, "tithe-barn")
	b := startBroker(t, s)
	eavesdropper, other, reader := b.connect("mill-cottage", mill), b.connect("tithe-barn", barn), b.coldweek()
	overheard := hear(t, eavesdropper, "coldweek/#", "coldweek/tithe-barn/flow_temp", "coldweek/mill-cottage/#", "$SYS/broker/uptime")
	heard := hear(t, reader, "coldweek/#")
	publish(t, other, "coldweek/tithe-barn/flow_temp")
	next(t, heard) // the broker has dealt it out
	publish(t, eavesdropper, "coldweek/mill-cottage/flow_temp")
	next(t, heard)
	hear(t, eavesdropper, "barrier")
	assert.Empty(t, overheard)
}

func TestColdweekOnlyReads(t *testing.T) {
	s := makeSecrets(t)
	mill := s.site(t, "mill-cottage")
	b := startBroker(t, s)
	heard := hear(t, b.coldweek(), "coldweek/#")
	writer := b.coldweek()
	publish(t, writer, "coldweek/mill-cottage/flow_temp")
	publish(t, writer, "coldweek/coldweek/flow_temp")
	publish(t, b.connect("mill-cottage", mill), "coldweek/mill-cottage/power")
	assert.Equal(t, "coldweek/mill-cottage/power", next(t, heard))
}

func TestWrongLoginsAreRefused(t *testing.T) {
	s := makeSecrets(t)
	mill := s.site(t, "mill-cottage")
	b := startBroker(t, s)
	for _, login := range [][2]string{{"mill-cottage", "guess"}, {"mill-cottage", ""}, {"tithe-barn", mill}, {"coldweek", mill}, {"", ""}} {
		_, err := b.try(login[0], login[1])
		assert.ErrorContains(t, err, "not", "%q", login)
		assert.Regexp(t, `(?i)not author|bad user name`, fmt.Sprint(err), "%q", login)
	}
	b.connect("mill-cottage", mill)
}

// TestNewLoginWithoutRestart: SIGHUP is what docker compose kill -s HUP sends.
func TestNewLoginWithoutRestart(t *testing.T) {
	s := makeSecrets(t)
	b := startBroker(t, s)
	password := s.site(t, "mill-cottage")
	_, err := b.try("mill-cottage", password)
	require.Error(t, err)
	require.NoError(t, b.process.Signal(syscall.SIGHUP))
	require.Eventually(t, func() bool {
		client, err := b.try("mill-cottage", password)
		client.Disconnect(0)
		return err == nil
	}, within, 50*time.Millisecond)
	b.coldweek()
}

func TestOnlyEncrypted(t *testing.T) {
	assert.Len(t, regexp.MustCompile(`(?m)^(listener|port|bind_address)\b`).FindAllString(read(t, "mosquitto/mosquitto.conf"), -1), 1)
	s := makeSecrets(t)
	mill := s.site(t, "mill-cottage")
	b := startBroker(t, s)
	plain := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + b.address()).SetUsername("mill-cottage").SetPassword(mill).SetConnectTimeout(within))
	token := plain.Connect()
	require.True(t, token.WaitTimeout(within))
	assert.Error(t, token.Error())

	for version, ok := range map[uint16]bool{tls.VersionTLS11: false, tls.VersionTLS12: true, tls.VersionTLS13: true} {
		conn, err := tls.Dial("tcp", b.address(), &tls.Config{RootCAs: b.roots(), ServerName: "localhost", MinVersion: version, MaxVersion: version})
		assert.Equal(t, ok, err == nil, "%s: %v", tls.VersionName(version), err)
		if err == nil {
			_ = conn.Close()
		}
	}
}

// TestHealthCheck runs the container's own check, with the options that the
// script wrote, against this broker.
func TestHealthCheck(t *testing.T) {
	sub := programtest.Find(t, "mosquitto_sub", "mosquitto-clients")
	s := makeSecrets(t)
	b := startBroker(t, s)
	check := compose(t).Services["mosquitto"].HealthCheck.Test
	require.Equal(t, []string{"CMD", "mosquitto_sub", "-t", "$SYS/broker/uptime"}, []string(check[:4]))
	options := strings.NewReplacer("8883", fmt.Sprint(b.port), "/run/secrets/ca_certificate", s.file("ca.crt")).Replace(read(t, s.file("mosquitto/mosquitto_sub")))
	healthy := func(options string) bool {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "mosquitto_sub"), []byte(options), 0o600))
		c := exec.Command(sub, check[2:]...)
		c.Env = []string{"XDG_CONFIG_HOME=" + dir}
		return c.Run() == nil
	}
	require.Eventually(t, func() bool { return healthy(options) }, within, 100*time.Millisecond)
	assert.False(t, healthy(strings.ReplaceAll(options, "-P ", "-P x")))
}

// TestDurableAsTested: the subscriber's tests run against the durability that
// is advised here.
func TestDurableAsTested(t *testing.T) {
	settings := func(text string) map[string]string {
		all := map[string]string{}
		for _, line := range strings.Split(text, "\n") {
			if key, value, ok := strings.Cut(line, " "); ok && key != "#" {
				all[key] = value
			}
		}
		return all
	}
	advised := settings(read(t, "mosquitto/mosquitto.conf"))
	tested := settings(brokertest.Durable)
	require.NotEmpty(t, tested)
	for key, value := range tested {
		assert.Equal(t, value, advised[key], key)
	}
	for key := range advised {
		if regexp.MustCompile(`persistence$|autosave|queued|inflight`).MatchString(key) {
			assert.Contains(t, tested, key)
		}
	}
}
