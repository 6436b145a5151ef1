package ingest_test

import (
	"bytes"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest"
)

// Label values stay readable in every tool when they are plain words; the
// pattern is Prometheus' for metric names, without the colon.
func TestReasonsAreLabelValues(t *testing.T) {
	word := regexp.MustCompile(`^[a-z_][a-z0-9_]*$`)
	seen := map[ingest.Reason]bool{}
	for _, r := range ingest.Reasons() {
		assert.Regexp(t, word, string(r))
		assert.False(t, seen[r], "%s twice", r)
		seen[r] = true
	}
}

func TestCutPayload(t *testing.T) {
	long := bytes.Repeat([]byte("x"), ingest.MaxRejectedPayload+1)
	kept := ingest.CutPayload(long)
	assert.Len(t, kept, ingest.MaxRejectedPayload)
	long[0] = 'y'
	assert.Equal(t, byte('x'), kept[0], "a copy, so that the caller may reuse its buffer")
	assert.Empty(t, ingest.CutPayload(nil))
}
