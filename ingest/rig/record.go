package rig

import (
	"fmt"
	"math"
	"time"

	"github.com/goccy/go-yaml"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// Record returns the site record that goes with a valid plant: what its
// engineer would have written down, which is the design and not the truth. It
// panics on a plant that Validate refuses.
func (p Plant) Record() *site.Record {
	written, err := yaml.Marshal(p.paperwork())
	if err != nil {
		panic(fmt.Sprintf("BUG: write site record of %q: %v", p.ID, err))
	}
	record, err := site.Parse(p.ID+".yaml", written)
	if err != nil {
		panic(fmt.Sprintf("rig: site record of %q: %v", p.ID, err))
	}
	return record
}

func (p *Plant) paperwork() *site.Record {
	r := &site.Record{
		ID: p.ID, Name: p.Name, TimeZone: p.TimeZone,
		Location: &site.Location{LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg},
		Design: &site.Design{
			OutdoorTempC: new(p.Design.OutdoorC), RoomTempC: new(p.House.RoomSetC), HeatLossKW: new(round(p.Design.HeatLossKW, 2)),
			FlowTempC: new(p.Design.FlowC), FlowReturnDifferenceK: new(p.Design.DifferenceK),
		},
		HeatPump:     p.machineRecord(),
		HeatingCurve: p.curveRecord(),
		Metering:     p.meteringRecord(),
		Channels:     p.channelRecord(),
		Emitters:     p.emitterRecord(),
		Pipework:     p.Paperwork.Pipework,
		Tariff:       p.Paperwork.Tariff,
		Contact:      p.Paperwork.Contact,
		Note:         p.Paperwork.Note,
		Commissioned: &site.Commissioned{FlowRateLPH: new(round(p.Loop.FlowLPH, 0))},
	}
	if !p.Design.Commissioned.IsZero() {
		r.Commissioned.Date = p.Design.Commissioned.Format(time.DateOnly)
	}
	if p.HotWater.CylinderL > 0 {
		r.HotWater = p.hotWaterRecord()
	}
	return r
}

func round(value float64, digits int) float64 {
	scale := math.Pow10(digits)
	return math.Round(value*scale) / scale
}

func (p *Plant) machineRecord() *site.HeatPump {
	return &site.HeatPump{
		RatedHeatKW: new(p.HeatPump.RatedHeatKW), MinimumHeatKW: new(p.HeatPump.MinimumHeatKW),
		MinimumFlowLPH: new(round(0.4*p.Loop.FlowLPH, -1)), Fluid: "water",
		LaboratoryPoints: p.labPoints(), PumpCurve: p.Paperwork.PumpCurve,
	}
}

// labPoints are what a test bench would have found at full output: without
// frost on the coil.
func (p *Plant) labPoints() []site.LabPoint {
	m, e := newMachine(p), neutral()
	var points []site.LabPoint
	for _, at := range []struct{ outdoorC, flowC float64 }{{-7, 35}, {2, 35}, {7, 35}, {-7, 55}, {2, 55}, {7, 55}} {
		points = append(points, site.LabPoint{
			OutdoorTempC: at.outdoorC, FlowTempC: at.flowC,
			HeatKW: round(m.capacityW(at.outdoorC, at.flowC, &e)/1e3, 2),
			COP:    round(m.cop(at.outdoorC, at.flowC, 1, &e), 2),
		})
	}
	return points
}

func (p *Plant) curveRecord() *site.HeatingCurve {
	c := &site.HeatingCurve{MinimumFlowC: new(p.Control.MinimumFlowC), MaximumFlowC: new(p.Control.MaximumFlowC)}
	for _, point := range p.Control.Curve {
		c.Points = append(c.Points, site.CurvePoint{OutdoorTempC: point.OutdoorC, FlowTempC: point.FlowC})
	}
	return c
}

// covers says what the electricity meter sees.
func (m *Metering) covers(p *Plant) []string {
	covered := []string{"compressor", "fan", "controls"}
	if !m.PumpNotMetered {
		covered = append(covered, "circulation_pump")
	}
	if p.Backup.PowerKW > 0 && !m.BackupNotMetered {
		covered = append(covered, "backup_heater")
	}
	if p.HotWater.CylinderL > 0 && p.HotWater.ImmersionKW > 0 && !m.BackupNotMetered {
		covered = append(covered, "immersion_heater")
	}
	return covered
}

func (p *Plant) meteringRecord() *site.Metering {
	m := &p.Metering
	position := "return"
	if m.FlowSensorHot {
		position = "flow"
	}
	r := &site.Metering{
		ElectricityCovers: m.covers(p),
		HeatMeter: &site.HeatMeter{
			Class: m.HeatMeterClass, Position: position, PermanentFlowM3H: new(2.5), MinimumDifferenceK: new(3.0),
			AfterBackupHeater: p.Backup.PowerKW > 0 && !p.Backup.AfterSensors,
		},
	}
	if m.ElectricityMeterClass != "" {
		r.ElectricityMeter = &site.ElectricityMeter{Class: m.ElectricityMeterClass}
	}
	return r
}

// channelRecord tells of channels that are silent while nothing changes.
func (p *Plant) channelRecord() map[ingest.Channel]site.Source {
	channels := map[ingest.Channel]site.Source{}
	for _, c := range p.Channels() {
		if spec := p.spec(c.Quantity()); spec.OnChange {
			channels[c] = site.Source{MaxGapS: new(2.5 * spec.Silence().Seconds())}
		}
	}
	return channels
}

// emitterRecord spreads the emitters over the rooms that have a sensor.
func (p *Plant) emitterRecord() *site.Emitters {
	rooms := p.House.Rooms
	if len(rooms) == 0 {
		return nil
	}
	e := &site.Emitters{}
	for _, place := range rooms {
		n := float64(len(rooms))
		room := site.Room{Place: place, SetTempC: new(p.House.RoomSetC), DesignLossW: new(math.Round(p.Design.HeatLossKW * 1e3 / n))}
		if p.Emitters.SlabMJPerK > 0 {
			room.FloorAreaM2 = new(round(p.Emitters.OutputAt50KW*1e3/floorAt50WPerM2/n, 0))
		} else {
			room.Radiators = []site.Radiator{{OutputW: math.Round(p.Emitters.OutputAt50KW * 1e3 / n), RatedAtK: 50, Exponent: p.Emitters.Exponent}}
		}
		e.Rooms = append(e.Rooms, room)
	}
	return e
}

// floorAt50WPerM2 is 8.92 x 50^1.1 (EN 1264), which no floor reaches, times 0.6
// for the covering and the pipes' distance; it turns a floor's output into an area.
const floorAt50WPerM2 = 0.6 * 659.5

func (p *Plant) hotWaterRecord() *site.HotWater {
	w := &p.HotWater
	h := &site.HotWater{CylinderL: new(w.CylinderL), TargetTempC: new(w.TargetC)}
	if w.HygieneC > 0 {
		h.HygieneTempC, h.HygieneInterval = new(w.HygieneC), new(7.0)
	}
	for _, s := range w.Schedule {
		h.Schedule = append(h.Schedule, site.TimeSpan{From: clock(s.FromH), To: clock(s.ToH)})
	}
	return h
}

func clock(hourH float64) string {
	minutes := int(math.Round(hourH * 60))
	return fmt.Sprintf("%02d:%02d", minutes/60%24, minutes%60)
}
