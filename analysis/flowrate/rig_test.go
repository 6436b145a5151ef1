package flowrate_test

import "coldweek/ingest"

// bareSensors is the least that gives heat and electricity.
var bareSensors = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp}
