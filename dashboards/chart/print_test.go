package chart_test

import (
	"bytes"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/chart"
	"coldweek/dashboards/chart/pdf"
	"coldweek/ingest/programtest"
)

// printed returns a PDF with every chart, in the width of a page and of half
// of one.
func printed(t *testing.T) []byte {
	t.Helper()
	doc := pdf.New("Every chart", time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	samples := chart.Samples()
	for _, name := range slices.Sorted(maps.Keys(samples)) {
		doc.AddPage()
		height := pdf.Draw(doc, samples[name](name, chart.Size{Width: 700}), pdf.Place{LeftMM: 15, TopMM: 15, WidthMM: 180})
		pdf.Draw(doc, samples[name](name, chart.Size{Width: 380}), pdf.Place{LeftMM: 15, TopMM: 20 + height, WidthMM: 85})
	}
	var out bytes.Buffer
	require.NoError(t, doc.Output(&out))
	return out.Bytes()
}

func TestEveryChartPrints(t *testing.T) {
	document := printed(t)
	assert.True(t, bytes.Equal(document, printed(t)), "the same input gives the same bytes")
	file := filepath.Join(t.TempDir(), "charts.pdf")
	require.NoError(t, os.WriteFile(file, document, 0o600))
	said, err := exec.Command(programtest.Find(t, "pdftotext", "poppler-utils"), "-layout", file, "-").CombinedOutput()
	require.NoError(t, err, string(said))
	for _, want := range []string{
		"At −12 °C: design 8.9 kW", "Not enough days yet: 3 of 7", "Lowest that holds the rooms", "per running hour", "Commissioned 1180 l/h",
		"kWh of heat per kWh of electricity", "Short, less than 10 min: 19 of 180 (11 %)", "Index circuit, 18.4 kPa", "28 × 1.5 mm",
		"not known", "Where the electricity went", "No months yet",
	} {
		assert.Contains(t, string(said), want)
	}
}
