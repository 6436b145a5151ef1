package deliver_test

import (
	"fmt"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/programtest"
	"coldweek/ingest/receive/brokertest"
)

// retained returns what the broker keeps below a topic.
func retained(t *testing.T, address, filter string) map[string]string {
	t.Helper()
	got := map[string]string{}
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(address).SetClientID("reader"))
	require.True(t, client.Connect().WaitTimeout(10*time.Second))
	defer client.Disconnect(100)
	end := make(chan struct{})
	require.True(t, client.Subscribe(filter, 1, func(_ mqtt.Client, m mqtt.Message) { got[m.Topic()] = string(m.Payload()) }).WaitTimeout(10*time.Second))
	require.True(t, client.Subscribe("end", 1, func(mqtt.Client, mqtt.Message) { close(end) }).WaitTimeout(10*time.Second))
	client.Publish("end", 1, false, "x") // comes after what is retained
	<-end
	return got
}

func TestPublishing(t *testing.T) {
	broker := brokertest.Start(t, "")
	b := deliver.Broker{URL: broker.URL()}
	require.NoError(t, b.Check())
	p, err := b.Connect(t.Context(), "coldweek-1")
	require.NoError(t, err)
	defer p.Close()
	require.NoError(t, p.Publish(t.Context(), "firm/mill/low_flow", true, []byte("open")))
	require.NoError(t, p.Publish(t.Context(), "firm/mill/silent", true, []byte("open")))
	assert.Equal(t, map[string]string{"firm/mill/low_flow": "open", "firm/mill/silent": "open"}, retained(t, broker.URL(), "firm/#"))
	require.NoError(t, p.Publish(t.Context(), "firm/mill/silent", true, nil))
	assert.Equal(t, map[string]string{"firm/mill/low_flow": "open"}, retained(t, broker.URL(), "firm/#"))

	broker.Kill()
	err = p.Publish(t.Context(), "firm/mill/silent", true, []byte("open"))
	require.Error(t, err)
	assert.Equal(t, deliver.All, deliver.AsFailure(err).Scope)
	_, err = b.Connect(t.Context(), "coldweek-1")
	require.ErrorContains(t, err, "connection refused")
}

func TestBrokersAreTrustedByTheirCertificates(t *testing.T) {
	authority, stranger := brokertest.NewAuthority(t), brokertest.NewAuthority(t)
	cert, key := authority.Issue("broker")
	port := programtest.FreePort(t)
	brokertest.Start(t, fmt.Sprintf("listener %d 127.0.0.1\ncertfile %s\nkeyfile %s\n", port, cert, key))
	b := deliver.Broker{URL: fmt.Sprintf("ssl://localhost:%d", port), CAFile: authority.CAFile}
	require.NoError(t, b.Check())
	p, err := b.Connect(t.Context(), "coldweek-1")
	require.NoError(t, err)
	require.NoError(t, p.Publish(t.Context(), "firm/x", false, []byte("1")))
	p.Close()
	b.CAFile = stranger.CAFile
	_, err = b.Connect(t.Context(), "coldweek-1")
	require.ErrorContains(t, err, "certificate signed by unknown authority")
}

func TestBrokerSettingsSayWhatWouldBeRight(t *testing.T) {
	check := func(want string, b deliver.Broker) {
		t.Helper()
		assert.ErrorContains(t, b.Check(), want)
	}
	check("url is missing", deliver.Broker{})
	check("write tcp://HOST:1883", deliver.Broker{URL: "broker.example:1883"})
	check("write tcp://HOST:1883", deliver.Broker{URL: "http://broker.example"})
	check("holds a login", deliver.Broker{URL: "tcp://me:pw@broker.example"})
	check("needs a username", deliver.Broker{URL: "tcp://broker.example", PasswordFile: "x"})
	check("write ssl:// or wss://", deliver.Broker{URL: "tcp://broker.example", CAFile: "x"})
	for _, topic := range []string{"", "firm/#", "firm/+/x", "/firm", "firm/", "$SYS/x"} {
		assert.Error(t, deliver.CheckTopic(topic), topic)
	}
	assert.NoError(t, deliver.CheckTopic("firm/findings"))
}
