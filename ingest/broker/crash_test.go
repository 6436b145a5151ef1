package broker_test

import (
	"context"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/broker"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

// homeVariable makes the test binary a broker with its data in that folder.
const homeVariable = "COLDWEEK_TEST_BROKER"

func TestMain(m *testing.M) {
	if home := os.Getenv(homeVariable); home != "" {
		if err := serve(home); err != nil {
			_, _ = os.Stderr.WriteString(err.Error() + "\n")
		}
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// serve runs a broker, and writes its address to a file, until it is killed.
func serve(home string) error {
	ctx := context.Background()
	logger := slog.New(slog.NewTextHandler(os.Stderr, nil))
	store, err := local.Open(ctx, filepath.Join(home, "readings.db"), local.Options{})
	if err != nil {
		return err
	}
	logins, err := broker.ReadLogins(filepath.Join(home, "logins.yaml"))
	if err != nil {
		return err
	}
	decoder, err := payload.NewDecoder([]*site.Record{{ID: mill, TimeZone: "Europe/London"}})
	if err != nil {
		return err
	}
	intake, err := receive.NewIntake(receive.Options{Sink: store, Decoder: decoder, Logger: logger})
	if err != nil {
		return err
	}
	b, err := broker.New(broker.Options{Listen: "127.0.0.1:0", Logins: logins, Intake: intake, Logger: logger,
		ArrivalsFile: filepath.Join(home, "arrivals")})
	if err != nil {
		return err
	}
	go func() { _ = intake.Run(ctx) }()
	temporary := filepath.Join(home, "address.new")
	if err := os.WriteFile(temporary, []byte(b.Addr().String()), 0o600); err != nil {
		return err
	}
	if err := os.Rename(temporary, filepath.Join(home, "address")); err != nil {
		return err
	}
	return b.Run(ctx)
}

// TestAcknowledgedSurvivesAKill: the process is killed with SIGKILL at the
// moment the publisher sees an acknowledgement, again and again; every
// acknowledged reading is in the store.
func TestAcknowledgedSurvivesAKill(t *testing.T) {
	home := t.TempDir()
	logins, err := broker.ReadLogins(filepath.Join(home, "logins.yaml"))
	require.NoError(t, err)
	logins.SetCost(4)
	require.NoError(t, logins.Set(mill, millPassword))
	acknowledged, second := 0, 0
	for round := range 8 {
		address := filepath.Join(home, "address")
		_ = os.Remove(address)
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), homeVariable+"="+home)
		require.NoError(t, cmd.Start())
		kill := func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }
		t.Cleanup(kill)
		var at []byte
		require.Eventually(t, func() bool { at, err = os.ReadFile(address); return err == nil }, within, tick)
		client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + string(at)).SetProtocolVersion(4).
			SetUsername(mill).SetPassword(millPassword).SetClientID("gateway").SetAutoReconnect(false))
		token := client.Connect()
		require.True(t, token.WaitTimeout(within))
		require.NoError(t, token.Error())
		var tokens []mqtt.Token
		for range 50 {
			tokens = append(tokens, client.Publish("coldweek/"+mill+"/senml", 1, false, pack(second, 35)))
			second++
		}
		require.True(t, tokens[round*6].WaitTimeout(within))
		kill()
		for _, token := range tokens {
			require.True(t, token.WaitTimeout(within))
			if token.Error() == nil {
				acknowledged++
			}
		}
		client.Disconnect(0)
	}
	store, err := local.Open(t.Context(), filepath.Join(home, "readings.db"), local.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, store.Close()) }()
	columns, err := store.Scan(t.Context(), mill, []ingest.Channel{"flow_temp"}, time.Unix(0, 0), time.Now())
	require.NoError(t, err)
	t.Logf("published %d, acknowledged %d, stored %d", second, acknowledged, columns[0].Len())
	assert.GreaterOrEqual(t, columns[0].Len(), acknowledged)
	assert.Positive(t, acknowledged)
}

// unused is an intake that is never reached.
type unused struct{ broker.Intake }
