package broker

import (
	"log/slog"
	"net"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWarningWhenReachableUnencrypted(t *testing.T) {
	check := func(address string, warns bool) {
		t.Helper()
		var log strings.Builder
		b := &Broker{logger: slog.New(slog.NewTextHandler(&log, nil))}
		b.warnIfOpen(&net.TCPAddr{IP: net.ParseIP(address), Port: 1883})
		assert.Equal(t, warns, strings.Contains(log.String(), "without encryption"), address)
	}
	check("127.0.0.1", false)
	check("::1", false)
	check("0.0.0.0", true)
	check("::", true)
	check("192.0.2.7", true) // documentation address, RFC 5737
}
