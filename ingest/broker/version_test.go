package broker_test

import (
	"net"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// TestVersionsOfMQTT uses an independent client that speaks all of them.
func TestVersionsOfMQTT(t *testing.T) {
	tool := programtest.Find(t, "mosquitto_pub", "mosquitto-clients")
	s := newStation(t, nil)
	host, port, err := net.SplitHostPort(s.broker.Addr().String())
	require.NoError(t, err)
	send := func(version, qos, topic, text string) string {
		t.Helper()
		out, err := exec.Command(tool, "-h", host, "-p", port, "-V", version, "-q", qos, "-u", mill, "-P", millPassword,
			"-i", "gateway", "-t", topic, "-m", text).CombinedOutput()
		require.NoError(t, err, "%s", out)
		return string(out)
	}
	n := 0
	for _, version := range []string{"mqttv31", "mqttv311", "mqttv5"} {
		for _, qos := range []string{"1", "2"} {
			out := send(version, qos, "coldweek/"+mill+"/senml", pack(n, 35))
			n++
			assert.Empty(t, out, "%s, QoS %s", version, qos)
			assert.Len(t, s.values(mill, "flow_temp"), n, "%s, QoS %s", version, qos)
		}
	}
	assert.Contains(t, send("mqttv5", "1", "coldweek/"+forge+"/power", "900"), "Not authorized",
		"MQTT 5 has a word for it (reason code 0x87)")
	assert.Len(t, s.refusals(), 1)
}
