package job

import (
	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// Needed is the mean heat the house takes from the plant at an outdoor
// temperature, in W, without hot water; false where that is not known.
type Needed func(outdoorC float64) (robust.Estimate, bool)

// capacityPlantOf is what the record knows of a machine's size.
func capacityPlantOf(record *site.Record) capacity.Plant {
	p := capacity.Plant{Points: pointsOf(record)}
	meters := metersOf(record)
	p.BackupOnMeter, p.HeatAfterBackup = meters.Backup, meters.HeatAfterBackup
	if d := record.Design; d != nil {
		p.DesignC, p.DesignFlowC = d.OutdoorTempC, d.FlowTempC
	}
	return p
}

func capacityOf(r *capacity.Report, s *siteday.Sums) Capacity {
	c := Capacity{ShareOfTimeAtFull: r.ShareOfTimeAtFull, BackupHours: hoursIfKnown(s.BackupS, s.BackupKnownS)}
	if r.AtDesign != nil {
		c.AtDesignKW = new(r.AtDesign.Value / wattPerKW)
	}
	return c
}

// roomSets tells what each place was promised, else what the design took.
func roomSets(record *site.Record) func(place string) *float64 {
	return func(place string) *float64 {
		if record.Emitters != nil {
			for _, room := range record.Emitters.Rooms {
				if room.Place == place && room.SetTempC != nil {
					return room.SetTempC
				}
			}
		}
		if record.Design != nil {
			return record.Design.RoomTempC
		}
		return nil
	}
}

func comfortOf(report *comfort.Report) Comfort {
	c := Comfort{Rooms: []RoomComfort{}}
	for _, room := range report.Rooms {
		c.Rooms = append(c.Rooms, RoomComfort{Place: room.Place, MeanC: &room.MeanC, P5C: &room.P5C, HoursBelowSet: room.HoursBelowSet})
	}
	return c
}
