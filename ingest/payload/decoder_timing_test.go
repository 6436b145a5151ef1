package payload_test

import (
	"encoding/json"
	"testing"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// The same message, of eight readings, in the ways there are to read it. The
// standard library's figures are for parsing alone.
const timedMessage = `{"ts":"2026-01-31T07:59:30Z","flow":35.21,"return":30.12,"outdoor":-2.4,"rate":1204.4,` +
	`"power":1710.2,"heat":12345.678,"electricity":4321.5,"state":"heating"}`

const timedPack = `[{"bt":1769846370,"bn":"a/","n":"flow_temp","u":"Cel","v":35.21},{"n":"return_temp","u":"Cel","v":30.12},` +
	`{"n":"outdoor_temp","u":"Cel","v":-2.4},{"n":"flow_rate","u":"l/h","v":1204.4},{"n":"power","u":"W","v":1710.2},` +
	`{"n":"heat_register","u":"kWh","v":12345.678},{"n":"electricity_register","u":"kWh","v":4321.5},{"n":"mode","vs":"heating"}]`

func timedRecord() *site.Record {
	channels := map[ingest.Channel]site.Source{}
	for c, pointer := range map[ingest.Channel]string{
		"flow_temp": "/flow", "return_temp": "/return", "outdoor_temp": "/outdoor", "flow_rate": "/rate",
		"power": "/power", "heat_register": "/heat", "electricity_register": "/electricity", "mode": "/state",
	} {
		channels[c] = site.Source{Topic: "state", Pointer: pointer, TimePointer: "/ts"}
	}
	return record("a", channels)
}

func benchmarkDecode(b *testing.B, topic, body string, want int) {
	d := newDecoder(b, timedRecord())
	message := []byte(body)
	b.ReportAllocs()
	for b.Loop() {
		readings, rejected := d.Decode(topic, message, arrived)
		if len(readings) != want || len(rejected) > 0 {
			b.Fatal(readings, rejected)
		}
	}
}

func BenchmarkBareNumber(b *testing.B) { benchmarkDecode(b, "coldweek/a/flow_temp", "35.21", 1) }
func BenchmarkMapped(b *testing.B)     { benchmarkDecode(b, "state", timedMessage, 8) }
func BenchmarkPack(b *testing.B)       { benchmarkDecode(b, "coldweek/a/senml", timedPack, 8) }

func BenchmarkStandardLibraryMap(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		var m map[string]any
		if err := json.Unmarshal([]byte(timedMessage), &m); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkStandardLibraryStruct(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		var m struct {
			TS                                                    string
			Flow, Return, Outdoor, Rate, Power, Heat, Electricity float64
			State                                                 string
		}
		if err := json.Unmarshal([]byte(timedMessage), &m); err != nil {
			b.Fatal(err)
		}
	}
}
