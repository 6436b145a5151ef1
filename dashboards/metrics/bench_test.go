package metrics_test

import (
	"fmt"
	"strings"
	"testing"
)

// BenchmarkScrape500Sites is a whole scrape of a service with 500 sites and a
// full quarantine, three findings each, the store asked and the page written.
func BenchmarkScrape500Sites(b *testing.B) {
	var ids []string
	for i := range 500 {
		ids = append(ids, fmt.Sprintf("plant-%d", i))
	}
	s := begin(b, ids...)
	for _, id := range ids {
		s.publish("coldweek/"+id+"/power", "900")
	}
	for range 500 { // each 20 refusals and their summary
		s.publish("coldweek/plant-0/senml", "["+strings.Repeat(`{"n":"plant-0/nothing","v":1},`, 40)+`{"n":"plant-0/power","v":1}]`)
	}
	h := handler(b, s.everything(ids...))
	bytes := 0
	for b.Loop() {
		bytes = get(h).Body.Len()
	}
	b.ReportMetric(float64(bytes), "bytes/page")
}
