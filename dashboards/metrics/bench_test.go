package metrics_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// BenchmarkScrape500Sites is a whole scrape of a service with 500 sites and a
// full quarantine, three findings each, the store asked and the page written as
// Prometheus asks for it.
func BenchmarkScrape500Sites(b *testing.B) {
	var ids []string
	for i := range 500 {
		ids = append(ids, fmt.Sprintf("plant-%03d", i))
	}
	s := begin(b, ids...)
	for _, id := range ids {
		s.publish("coldweek/"+id+"/power", "900")
	}
	for range 500 { // each 20 refusals and their summary
		s.publish("coldweek/plant-000/senml", "["+strings.Repeat(`{"n":"plant-000/nothing","v":1},`, 40)+`{"n":"plant-000/power","v":1}]`)
	}
	h := handler(b, s.everything(ids...))
	bytes := 0
	for b.Loop() {
		r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
		r.Header.Set("Accept-Encoding", "gzip")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		bytes = w.Body.Len()
	}
	b.ReportMetric(float64(bytes), "bytes/page")
}
