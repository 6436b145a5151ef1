package site_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/site"
)

// A fleet's records are read at every start: 500 of them should take no
// noticeable time.
func BenchmarkParse(b *testing.B) {
	text, err := os.ReadFile(filepath.Join(testdata, "mill-house.good.yaml"))
	require.NoError(b, err)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := site.Parse("mill-house.yaml", text); err != nil {
			b.Fatal(err)
		}
	}
}
