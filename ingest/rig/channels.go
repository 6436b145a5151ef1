package rig

import (
	"slices"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig/instrument"
)

// source is what an instrument looks at, in the order in which channels of
// one time are handed out.
type source int

const (
	flowSource source = iota
	returnSource
	flowRateSource
	powerSource
	heatSource
	speedSource
	pumpSource
	backupSource
	modeSource
	targetSource
	outdoorSource
	humiditySource
	irradianceSource
	roomSource
	cylinderSource
	pressureSource
	electricitySource
	heatRegisterSource
	volumeSource
)

// order names the quantity of each source.
var order = [...]ingest.Quantity{
	flowSource: ingest.FlowTemp, returnSource: ingest.ReturnTemp, flowRateSource: ingest.FlowRate,
	powerSource: ingest.Power, heatSource: ingest.HeatOutput, speedSource: ingest.CompressorSpeed,
	pumpSource: ingest.PumpPower, backupSource: ingest.BackupPower, modeSource: ingest.ModeQuantity,
	targetSource: ingest.FlowTarget, outdoorSource: ingest.OutdoorTemp, humiditySource: ingest.OutdoorHumidity,
	irradianceSource: ingest.Irradiance, roomSource: ingest.RoomTemp, cylinderSource: ingest.CylinderTemp,
	pressureSource: ingest.Pressure, electricitySource: ingest.ElectricityRegister,
	heatRegisterSource: ingest.HeatRegister, volumeSource: ingest.VolumeRegister,
}

// usualSpec is an instrument as commonly fitted.
func (m *Metering) usualSpec(q ingest.Quantity) instrument.Spec {
	fast, slow := m.intervals()
	switch q {
	case ingest.FlowTemp, ingest.ReturnTemp:
		return instrument.Spec{Interval: fast, LagS: 8, Noise: 0.02, Resolution: 0.1}
	case ingest.FlowRate:
		return instrument.Spec{Interval: fast, LagS: 2, NoiseShare: 0.006, Resolution: 1, Below: 40}
	case ingest.Power:
		return instrument.Spec{Interval: fast, NoiseShare: 0.004, Noise: 0.3, Resolution: 1}
	case ingest.HeatOutput:
		return instrument.Spec{Interval: fast, LagS: 10, NoiseShare: 0.01, Resolution: 10}
	case ingest.PumpPower, ingest.BackupPower:
		return instrument.Spec{Interval: fast, NoiseShare: 0.004, Resolution: 1}
	case ingest.CompressorSpeed:
		return instrument.Spec{Interval: fast, Resolution: 1}
	case ingest.ModeQuantity:
		return instrument.Spec{Interval: fast}
	case ingest.FlowTarget:
		return instrument.Spec{Interval: slow, Resolution: 0.5}
	case ingest.OutdoorTemp:
		return instrument.Spec{Interval: slow, LagS: 240, Noise: 0.04, Resolution: 0.1}
	case ingest.OutdoorHumidity:
		return instrument.Spec{Interval: slow, LagS: 120, Noise: 0.5, Resolution: 1}
	case ingest.Irradiance:
		return instrument.Spec{Interval: slow, LagS: 20, NoiseShare: 0.03, Resolution: 1}
	case ingest.RoomTemp:
		return instrument.Spec{Interval: slow, LagS: 600, Noise: 0.03, Resolution: 0.1}
	case ingest.CylinderTemp:
		return instrument.Spec{Interval: slow, LagS: 60, Noise: 0.03, Resolution: 0.1}
	case ingest.Pressure:
		return instrument.Spec{Interval: slow, LagS: 5, Noise: 0.004, Resolution: 0.01}
	case ingest.ElectricityRegister:
		return instrument.Spec{Interval: slow, Resolution: 0.01}
	case ingest.HeatRegister:
		return instrument.Spec{Interval: slow, Resolution: 0.1}
	}
	return instrument.Spec{Interval: slow, Resolution: 0.001}
}

// spec is the instrument the plant has for a quantity.
func (p *Plant) spec(q ingest.Quantity) instrument.Spec {
	if spec, ok := p.Metering.Specs[q]; ok {
		return spec
	}
	spec := p.Metering.usualSpec(q)
	fast, _ := p.Metering.intervals()
	if p.Metering.SlowOnChange && (spec.Interval > fast || q == ingest.ModeQuantity) && !q.IsRegister() {
		spec.OnChange = true
	}
	return spec
}

func (m *Metering) intervals() (fast, slow time.Duration) {
	fast, slow = m.Interval, m.SlowInterval
	if fast == 0 {
		fast = defaultFast
	}
	if slow == 0 {
		slow = defaultSlow
	}
	return fast, max(fast, slow)
}

// Channels lists what the plant publishes, in the order of its columns.
func (p Plant) Channels() []ingest.Channel {
	var channels []ingest.Channel
	for _, q := range order {
		switch {
		case !p.publishes(q):
		case q == ingest.RoomTemp:
			for _, place := range p.House.Rooms {
				channels = append(channels, ingest.NewChannel(q, place))
			}
		default:
			channels = append(channels, ingest.Channel(q))
		}
	}
	return channels
}

// publishes says whether the plant has the quantity and hands it out.
func (p *Plant) publishes(q ingest.Quantity) bool {
	if q == ingest.CylinderTemp && p.HotWater.CylinderL == 0 {
		return false
	}
	return len(p.Metering.Quantities) == 0 || slices.Contains(p.Metering.Quantities, q)
}
