package deploy

import (
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// secrets is a folder that the script made.
type secrets struct{ dir string }

// first is what a run without arguments made, once for all tests.
var first struct {
	once sync.Once
	secrets
}

func TestMain(m *testing.M) {
	code := m.Run()
	if first.dir != "" {
		_ = os.RemoveAll(first.dir)
	}
	os.Exit(code)
}

// makeSecrets returns a copy of what the script makes, owners and all.
func makeSecrets(t *testing.T) secrets {
	t.Helper()
	programtest.Find(t, "openssl", "openssl")
	programtest.Find(t, "mosquitto_passwd", "mosquitto")
	first.once.Do(func() {
		dir, err := os.MkdirTemp("", "coldweek-secrets")
		require.NoError(t, err)
		first.secrets = secrets{dir}
		first.run(t)
	})
	require.NotEmpty(t, first.dir)
	s := secrets{t.TempDir()}
	output, err := exec.Command("cp", "-a", first.dir+"/.", s.dir).CombinedOutput()
	require.NoError(t, err, "%s", output)
	return s
}

func (s secrets) environment() []string {
	return []string{"COLDWEEK_PRIVATE=" + filepath.Join(s.dir, "private"), "COLDWEEK_AUTHORITY=" + filepath.Join(s.dir, "authority")}
}

func (s secrets) file(name string) string { return filepath.Join(s.dir, "private", name) }

func (s secrets) try(arguments ...string) (string, error) {
	c := exec.Command("./secrets", arguments...)
	c.Env = append(os.Environ(), s.environment()...)
	output, err := c.CombinedOutput()
	return string(output), err
}

func (s secrets) run(t *testing.T, arguments ...string) string {
	t.Helper()
	output, err := s.try(arguments...)
	require.NoError(t, err, output)
	return output
}

// site gives a site its login and returns the password.
func (s secrets) site(t *testing.T, id string) string {
	t.Helper()
	found := regexp.MustCompile(`(?m)^password (\w{48})$`).FindStringSubmatch(s.run(t, "site", id))
	require.NotNil(t, found)
	return found[1]
}

// files returns what the script made: path, mode and content.
func (s secrets) files(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	require.NoError(t, filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		inside, _ := filepath.Rel(s.dir, path)
		all[inside] = fmt.Sprint(info.Mode(), " ", read(t, path))
		return err
	}))
	return all
}

func TestScriptsAreGoodShell(t *testing.T) {
	scripts := []string{"secrets", "influxdb/tokens.sh"}
	for _, script := range scripts {
		output, err := exec.Command("sh", "-n", script).CombinedOutput()
		assert.NoError(t, err, "%s", output)
		info, err := os.Stat(script)
		require.NoError(t, err)
		assert.NotZero(t, info.Mode()&0o111, "%s cannot be run", script)
	}
	if shellcheck, err := exec.LookPath("shellcheck"); err == nil {
		output, err := exec.Command(shellcheck, scripts...).CombinedOutput()
		assert.NoError(t, err, "%s", output)
	}
}

func TestSecretsAreMadeOnce(t *testing.T) {
	s := makeSecrets(t)
	before := s.files(t)
	output := s.run(t)
	assert.NotContains(t, output, "made ")
	assert.Equal(t, before, s.files(t))

	names := []string{"authority/ca.key", "private/ca.crt",
		"private/mosquitto/server.key", "private/mosquitto/server.crt", "private/mosquitto/passwords", "private/mosquitto/mosquitto_sub",
		"private/coldweek/broker.password", "private/coldweek/influx.token", "private/grafana/influx.token",
		"private/influxdb/admin.password", "private/influxdb/admin.token", "private/grafana/admin.password",
		"private/alertmanager/smtp.password", "private/alertmanager/webhook.token"}
	var made []string
	for name, text := range before {
		made = append(made, name)
		public := strings.HasSuffix(name, ".crt")
		assert.Equal(t, public, strings.HasPrefix(text, "-rw-r--r--"), "%s: %.10s", name, text)
		assert.Equal(t, !public, strings.HasPrefix(text[4:], "------") || strings.HasPrefix(text[4:], "rw----"), "%s: %.10s", name, text)
	}
	assert.ElementsMatch(t, names, made)
	assert.NotEqual(t, before["private/influxdb/admin.password"], before["private/influxdb/admin.token"])
}

func (s secrets) certificate(t *testing.T, name string) *x509.Certificate {
	t.Helper()
	block, _ := pem.Decode([]byte(read(t, s.file(name))))
	require.NotNil(t, block)
	certificate, err := x509.ParseCertificate(block.Bytes)
	require.NoError(t, err)
	return certificate
}

func TestCertificates(t *testing.T) {
	makeSecrets(t) // skips where the programs are missing
	s := secrets{t.TempDir()}
	s.run(t, "broker.example", "192.0.2.7", "2001:db8::7")
	authority, first := s.certificate(t, "ca.crt"), s.certificate(t, "mosquitto/server.crt")
	roots := x509.NewCertPool()
	roots.AddCert(authority)
	for _, name := range []string{"mosquitto", "localhost", "127.0.0.1", "broker.example", "192.0.2.7", "2001:db8::7"} {
		_, err := first.Verify(x509.VerifyOptions{DNSName: name, Roots: roots, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}})
		assert.NoError(t, err, name)
	}
	assert.Error(t, first.VerifyHostname("elsewhere.example"))
	assert.Equal(t, 365*24*time.Hour, first.NotAfter.Sub(first.NotBefore))
	assert.False(t, first.IsCA)
	assert.True(t, authority.MaxPathLenZero)

	output, err := s.try("elsewhere.example")
	assert.Error(t, err)
	assert.Contains(t, output, "deploy/secrets renew elsewhere.example")
	s.run(t, "renew", "elsewhere.example")
	second := s.certificate(t, "mosquitto/server.crt")
	assert.NoError(t, second.VerifyHostname("elsewhere.example"))
	assert.NoError(t, second.VerifyHostname("broker.example"))
	assert.NotEqual(t, first.SerialNumber, second.SerialNumber)
	assert.True(t, first.PublicKey.(*ecdsa.PublicKey).Equal(second.PublicKey), "the key stays")
}

func TestTheAuthorityMayBeElsewhere(t *testing.T) {
	s := makeSecrets(t)
	require.NoError(t, os.Rename(filepath.Join(s.dir, "authority"), filepath.Join(s.dir, "safe")))
	s.run(t)
	output, err := s.try("renew")
	assert.Error(t, err)
	assert.Contains(t, output, "ca.key is not there; bring it back")
}

func TestSecretsRefuse(t *testing.T) {
	s := makeSecrets(t)
	s.site(t, "mill-cottage")
	before := s.files(t)
	for want, arguments := range map[string][]string{
		`"a/b" is no host name`:       {"a/b"},
		`"x,DNS:y" is no host name`:   {"renew", "x,DNS:y"},
		`"coldweek" is a login of`:    {"site", "coldweek"},
		`"healthcheck" is a login of`: {"site", "healthcheck"},
		`"Mill" is no id`:             {"site", "Mill"},
		`"+" is no id`:                {"site", "+"},
		`"a:b" is no id`:              {"site", "a:b"},
		`"../a" is no id`:             {"site", "../a"},
		"mill-cottage has a login":    {"site", "mill-cottage"},
		"for which site?":             {"site"},
		"unknown option --renew":      {"--renew"},
	} {
		output, err := s.try(arguments...)
		assert.Error(t, err, want)
		assert.Contains(t, output, want)
	}
	assert.Equal(t, before, s.files(t))

	output, err := secrets{t.TempDir()}.try("site", "mill-cottage")
	assert.Error(t, err)
	assert.Contains(t, output, "run deploy/secrets first")
}
