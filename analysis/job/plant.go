package job

import (
	"coldweek/analysis/efficiency"
	"coldweek/ingest/site"
)

// metersOf says what the record knows of what the meters see. A heat meter
// whose place is not told is taken to see the backup heater too.
func metersOf(record *site.Record) efficiency.Meters {
	m := record.Metering
	if m == nil {
		return efficiency.MetersOf(nil, true)
	}
	return efficiency.MetersOf(m.ElectricityCovers, m.HeatMeter == nil || m.HeatMeter.AfterBackupHeater)
}

// pointsOf are the machine's test points.
func pointsOf(record *site.Record) []efficiency.Point {
	if record.HeatPump == nil {
		return nil
	}
	var points []efficiency.Point
	for _, p := range record.HeatPump.LaboratoryPoints {
		points = append(points, efficiency.Point{OutdoorC: p.OutdoorTempC, FlowC: p.FlowTempC, COP: p.COP, HeatW: p.HeatKW * wattPerKW})
	}
	return points
}
