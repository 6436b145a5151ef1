package load_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"testing"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/load"
	"coldweek/ingest/store"
)

// wide is a file like a site's history: eight columns, ten seconds apart.
func wide(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("time,flow_temp_c,return_temp_c,outdoor_temp_c,room_temp_c,flow_rate_lph,power_w,heat_register_kwh,electricity_register_kwh\n")
	start := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		x := float64(i % 1000)
		fmt.Fprintf(&b, "%s,%.2f,%.2f,%.1f,%.1f,%.1f,%.1f,%.3f,%.3f\n", start.Add(time.Duration(i)*10*time.Second).Format(time.RFC3339),
			30+x/100, 25+x/200, -5+x/100, 20+x/1000, 1200+x/10, 1500+x/5, float64(i)/100, float64(i)/400)
	}
	return b.Bytes()
}

// nowhere takes everything: what is left is reading.
type nowhere struct{}

func (nowhere) Append(_ context.Context, batch []ingest.Reading) (int64, error) {
	return int64(len(batch)), nil
}
func (nowhere) Refuse(context.Context, []ingest.Rejected) error        { return nil }
func (nowhere) Refusals(context.Context, int) ([]store.Refused, error) { return nil, nil }

const timedRows, timedCells = 100_000, 8 * 100_000

func benchmarkLoad(b *testing.B, content []byte, st func() load.Store) {
	b.SetBytes(int64(len(content)))
	for b.Loop() {
		if _, err := load.Reader(b.Context(), st(), plain, "x", bytes.NewReader(content), load.Options{Now: clock}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(timedCells*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mcells/s")
}

func BenchmarkReading(b *testing.B) {
	benchmarkLoad(b, wide(timedRows), func() load.Store { return nowhere{} })
}

func BenchmarkReadingGzip(b *testing.B) {
	benchmarkLoad(b, compress(b, wide(timedRows)), func() load.Store { return nowhere{} })
}

func BenchmarkIntoLocalStore(b *testing.B) {
	benchmarkLoad(b, wide(timedRows), func() load.Store { return openStore(b) })
}

// BenchmarkEncodingCSV is the least the standard library's reader takes for the
// same: cells, times and numbers, nothing checked.
func BenchmarkEncodingCSV(b *testing.B) {
	content := wide(timedRows)
	b.SetBytes(int64(len(content)))
	for b.Loop() {
		r := csv.NewReader(bytes.NewReader(content))
		r.ReuseRecord = true
		if _, err := r.Read(); err != nil {
			b.Fatal(err)
		}
		for {
			row, err := r.Read()
			if errors.Is(err, io.EOF) {
				break
			}
			if _, err := time.Parse(time.RFC3339, row[0]); err != nil {
				b.Fatal(err)
			}
			for _, cell := range row[1:] {
				if _, err := strconv.ParseFloat(cell, 64); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
	b.ReportMetric(timedCells*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mcells/s")
}
