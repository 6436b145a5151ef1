package ingest_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest"
)

// Distances by Levenshtein's definition (1966): kitten to sitting is 3.
func TestNearest(t *testing.T) {
	assert.Equal(t, "sitting", ingest.Nearest("kitten", []string{"saturday", "sitting", "mountain"}))
	assert.Equal(t, "flow_temp", ingest.Nearest("flow_tmp", []string{"return_temp", "flow_temp"}))
	assert.Equal(t, "a", ingest.Nearest("c", []string{"a", "b"}), "the first of equals")
	assert.Equal(t, "", ingest.Nearest("c", nil))
}
