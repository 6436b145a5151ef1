package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestReadmeCommandsExist: every command line in the README and in the help
// texts' examples is one the program takes, flags included.
func TestReadmeCommandsExist(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	lines := regexp.MustCompile(`(?m)^ {4}coldweek .*$`).FindAllString(string(text), -1)
	require.NotEmpty(t, lines)
	for _, c := range append(newRoot(streams{}).Commands(), append(newSite(&app{}).Commands(), newUser(&app{}).Commands()...)...) {
		for _, line := range strings.Split(c.Example, "\n") {
			if strings.HasPrefix(strings.TrimSpace(line), "coldweek ") {
				lines = append(lines, line)
			}
		}
	}
	for _, line := range lines {
		words := strings.Fields(regexp.MustCompile(`[#|>].*`).ReplaceAllString(line, ""))[1:]
		command, rest, err := newRoot(streams{}).Find(words)
		if !assert.NoError(t, err, line) {
			continue
		}
		assert.NotEqual(t, "coldweek", command.Name(), line)
		assert.NoError(t, command.ParseFlags(rest), line)
	}
}

func TestStarterConfigIsValid(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	c, err := home{dir}.readConfig()
	require.NoError(t, err)
	assert.Equal(t, defaultBrokerListen, c.Broker.Listen)
	assert.Equal(t, defaultWebListen, c.Web.Listen)

	check := func(text, want string) {
		t.Helper()
		require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte(text), 0o600))
		_, err := home{dir}.readConfig()
		assert.ErrorContains(t, err, want)
	}
	check("web: {listen: '127.0.0.1:1'}\n", "no reading can come in")
	check("broker: {tls_cert_file: a.crt}\n", "belong together")
	check("subscribe: {username: x}\n", "url is missing")
	check("brokr: {}\n", "brokr")
}
