package receive_test

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/receive/brokertest"
)

// TestFullDisk fills a small disk of its own under the running ingester.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=8m"); err != nil {
		t.Skipf("mounting a small disk needs root's rights: %v", err)
	}
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(dir, 0)) })
	broker := brokertest.Start(t, brokertest.Durable)
	p := millPlan(t, broker)
	p.Dir = dir
	in := begin(t, p, nil, nil).connected()
	gateway := house(t, broker.URL(), mill)
	publish(t, gateway, "coldweek/"+mill+"/senml", own(0))
	in.holds(mill, "flow_temp", 1)

	ballast := filepath.Join(dir, "ballast")
	fill(t, ballast)
	sent := 1
	for ; in.intake.Stats().Failures == 0; sent++ { // what is left in the store's own file is used up first
		require.Less(t, sent, 100_000)
		publish(t, gateway, "coldweek/"+mill+"/senml", own(sent))
	}
	require.Eventually(t, func() bool { return strings.Contains(in.log.String(), "disk is full") }, within, tick)
	assert.True(t, gateway.IsConnectionOpen())
	require.NoError(t, os.Remove(ballast))
	in.holds(mill, "flow_temp", sent)
	require.Eventually(t, func() bool { return in.intake.Stats().Messages == int64(sent) }, within, tick)
}

func fill(t *testing.T, path string) {
	t.Helper()
	file, err := os.Create(path)
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	for size := 1 << 20; size > 0; size /= 2 {
		for err = nil; err == nil; {
			_, err = file.Write(make([]byte, size))
		}
	}
}
