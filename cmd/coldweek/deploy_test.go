package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDeployConfigIsValid: coldweek takes the configuration that
// docker-compose.yml gives it, word for word.
func TestDeployConfigIsValid(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root, "deploy/coldweek/coldweek.yaml"))
	require.NoError(t, err)
	h := home{t.TempDir()}
	require.NoError(t, os.WriteFile(h.configPath(), text, 0o600))
	c, err := h.readConfig()
	require.NoError(t, err)
	assert.Nil(t, c.Broker)
	assert.Equal(t, &subscribeConfig{
		URL: "ssl://mosquitto:8883", ClientID: "coldweek", Username: "coldweek",
		PasswordFile: "/run/secrets/broker_password", CAFile: "/run/secrets/ca_certificate",
	}, c.Subscribe)
	assert.Equal(t, &influxConfig{
		URL: "http://influxdb:8086", Org: "coldweek", Bucket: "coldweek", TokenFile: "/run/secrets/coldweek_influx_token",
	}, c.Influx)
	assert.Equal(t, "0.0.0.0:8137", c.Web.Listen)
}
