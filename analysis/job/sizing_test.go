package job_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/capacity"
	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
)

// TestCapacityAndComfortInTheAnswer: a machine too small for its house in a cold
// week runs at full output, its heater helps and the rooms fall behind. The truth
// is the simulation's ledger.
func TestCapacityAndComfortInTheAnswer(t *testing.T) {
	p := goodMeters(rig.Houses()[2], time.Minute, 0)
	p.Troubles = nil
	p.HeatPump.RatedHeatKW, p.Backup.PowerKW = 8, 1
	p.Metering.Quantities = append([]ingest.Quantity{ingest.BackupPower, ingest.RoomTemp, ingest.FlowTarget}, bareSensors...)
	played := play(t, p, time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC), 7)
	r := played.analyse(t)

	require.Equal(t, capacity.Shown, r.Sizing.Basis)
	assert.Contains(t, r.Sizing.Signs, capacity.BackupHelped)
	require.NotNil(t, r.Capacity.AtDesignKW)
	// 8 kW less 1.6 % for each of the 20 K below 7 °C: 5.4 kW without frost.
	assert.Greater(t, *r.Capacity.AtDesignKW, 0.8*8*(1-0.016*20))
	assert.Less(t, *r.Capacity.AtDesignKW, 1.05*8*(1-0.016*20))
	assert.Greater(t, *r.Capacity.ShareOfTimeAtFull, 0.3)
	require.NotNil(t, r.Capacity.BackupHours)
	assert.Greater(t, *r.Capacity.BackupHours, 5.0)

	require.Len(t, r.Comfort.Rooms, 3)
	meanC := 0.0
	for _, room := range r.Comfort.Rooms {
		meanC += *room.MeanC / 3
		require.NotNil(t, room.HoursBelowSet, room.Place)
	}
	assert.InDelta(t, played.truth.Parameters.RoomMeanC, meanC, 0.3)
	require.NotNil(t, r.Rooms.Coldest)
	assert.Less(t, r.Rooms.Coldest.RoomC, p.House.RoomSetC)
}

// TestCostByHand: the electricity of a week at the record's prices, cheap from
// 23:00 to 7:00, against sums of the readings of power alone, and the former fuel
// by the heat.
func TestCostByHand(t *testing.T) {
	p := goodMeters(rig.Houses()[0], time.Minute, 0)
	played := play(t, p, time.Date(2026, 3, 25, 0, 0, 0, 0, time.UTC), 7) // the clocks go forward on the 29th
	record := p.Record()
	record.Tariff = &site.Tariff{
		Currency: "GBP", PricePerKWh: new(0.30), CarbonKgPerKWh: new(0.2),
		TimeOfUse:  []site.TimeOfUseRate{{TimeSpan: site.TimeSpan{From: "23:00", To: "07:00"}, PricePerKWh: 0.10}},
		FormerFuel: "oil", FormerPricePerKWh: new(0.08), FormerEfficiency: new(0.8), FormerCarbonKgKWh: new(0.3),
	}
	r, err := job.AnalyseColumns(record, played.columns, played.window)
	require.NoError(t, err)
	cheapKWh, dearKWh := 0.0, 0.0
	zone := record.Zone()
	for _, column := range played.columns {
		if column.Channel != ingest.Channel(ingest.Power) {
			continue
		}
		for i := 1; i < len(column.UnixMS); i++ {
			at := time.UnixMilli(column.UnixMS[i-1]).In(zone)
			if at.Before(played.window.From) || !at.Before(played.window.To) {
				continue
			}
			kWh := column.Value[i-1] * float64(column.UnixMS[i]-column.UnixMS[i-1]) / kWhInWMS
			if at.Hour() >= 23 || at.Hour() < 7 {
				cheapKWh += kWh
			} else {
				dearKWh += kWh
			}
		}
	}
	require.NotNil(t, r.Cost.Money)
	assert.InEpsilon(t, 0.10*cheapKWh+0.30*dearKWh, *r.Cost.Money, 0.005)
	assert.InEpsilon(t, *r.Electricity.TotalKWh, r.Cost.ElectricityKWh, 1e-6)
	assert.InEpsilon(t, 0.2**r.Electricity.TotalKWh, *r.Cost.CarbonKg, 1e-6)
	require.NotNil(t, r.Cost.Former)
	assert.InEpsilon(t, *r.Heat.NetKWh/0.8*0.08, *r.Cost.Former.Money, 0.02)
	assert.InEpsilon(t, *r.Cost.PricePerKWh/0.08*0.8, *r.Cost.BreakEvenSPF, 1e-9)
	t.Logf("%.2f kWh cheap, %.2f dear, %.2f in all", cheapKWh, dearKWh, *r.Cost.Money)
}

// kWhInWMS is a kWh in watt milliseconds.
const kWhInWMS = 3.6e9

// TestNoPriceIsBuiltIn: what the record does not tell is not known.
func TestNoPriceIsBuiltIn(t *testing.T) {
	p := goodMeters(rig.Houses()[0], time.Minute, 0)
	played := play(t, p, time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC), 2)
	record := p.Record()
	record.Tariff, record.Design, record.Emitters, record.HeatPump.LaboratoryPoints = nil, nil, nil, nil
	r, err := job.AnalyseColumns(record, played.columns, played.window)
	require.NoError(t, err)
	assert.Nil(t, r.Cost.Money)
	assert.Nil(t, r.Cost.CarbonKg)
	assert.Nil(t, r.Cost.Former)
	assert.Nil(t, r.Capacity.AtDesignKW)
	assert.Nil(t, r.Capacity.ShareOfTimeAtFull)
}

// TestBalancePointFromTheFittedHeatLoss: all that the answer says of a machine
// somewhat small for its house comes from readings, and meets what the
// simulation's own loss, gains and output come to.
func TestBalancePointFromTheFittedHeatLoss(t *testing.T) {
	p := goodMeters(rig.Random(6), time.Minute, 0)
	p.HeatPump.RatedHeatKW *= 0.7
	p.HeatPump.MinimumHeatKW *= 0.7
	p.Backup = rig.Backup{}
	p.Metering.Quantities = append([]ingest.Quantity{ingest.RoomTemp, ingest.FlowTarget, ingest.Irradiance}, bareSensors...)
	p.Climate.DewGapK = 12 // dry air: no frost to reckon with
	played := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 42)
	r := played.analyse(t)
	require.NotNil(t, r.Sizing.Balance, "%s: %s", r.Sizing.Verdict, r.Sizing.Why)
	truth := played.truth.Parameters
	wantC := math.NaN()
	for c := 15.0; c > -35 && math.IsNaN(wantC); c -= 0.05 {
		canW := p.HeatPump.RatedHeatKW * 1000 * (1 - p.HeatPump.CapacityPerK*(7-c)) * (1 - r.Sizing.HotWaterShare)
		if canW < truth.HeatLossWPerK*(truth.RoomSetC-c)-truth.GainsW {
			wantC = c
		}
	}
	b := r.Sizing.Balance
	t.Logf("balance point %.1f °C (%.1f to %.1f), truth %.1f; basis %s, %v; %s: %s", b.OutdoorC, b.LowC, b.HighC, wantC, r.Sizing.Basis, r.Sizing.Signs, r.Sizing.Verdict, r.Sizing.Why)
	assert.InDelta(t, wantC, b.OutdoorC, 1.5)
	assert.Greater(t, b.HighC, wantC)
}
