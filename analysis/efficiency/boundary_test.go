package efficiency_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const kWhJ = 3.6e6

// TestBoundariesOfTheWorkedExample: 9,000 kWh of heat, 3,500 of electricity, of
// it pump 150, immersion heater 200 and backup heater 100, give 2.9508, 2.7761
// and 2.6571 (the UK trial's equations, by hand: 9000/3050, 9300/3350, 9300/3500).
func TestBoundariesOfTheWorkedExample(t *testing.T) {
	e := efficiency.Energies{HeatPumpJ: 9000 * kWhJ, TotalJ: 3500 * kWhJ, PumpJ: 150 * kWhJ, ImmersionJ: 200 * kWhJ, BackupJ: 100 * kWhJ}
	for boundary, want := range map[efficiency.Boundary]float64{"H2": 2.9508, "H3": 2.7761, "H4": 2.6571} {
		heatJ, electricityJ := e.At(boundary)
		assert.InDelta(t, want, heatJ/electricityJ, 5e-5, boundary)
	}
}

// year is the same plant as site days would sum it: the backup heater helps
// while the plant heats, the immersion heater works while it stands.
func year() *siteday.Sums {
	const spanS = 365 * 86400
	s := &siteday.Sums{SpanS: spanS, CoveredS: spanS, BackupKnownS: spanS, BackupJ: 300 * kWhJ}
	s.HeatJ[operation.Heating], s.HeatJ[operation.HotWater], s.HeatJ[operation.Defrost] = 7500*kWhJ, 1700*kWhJ, -200*kWhJ
	s.ElectricityJ[operation.Heating], s.ElectricityJ[operation.HotWater] = 2400*kWhJ, 700*kWhJ
	s.ElectricityJ[operation.Defrost], s.ElectricityJ[operation.Off] = 100*kWhJ, 300*kWhJ
	s.BackupInJ[operation.Heating], s.BackupInJ[operation.Off] = 100*kWhJ, 200*kWhJ
	s.Pump.OwnJ, s.Pump.OwnKnownS = 150*kWhJ, spanS
	return s
}

func boundariesOf(s *siteday.Sums, m efficiency.Meters) map[efficiency.Boundary]float64 {
	found := map[efficiency.Boundary]float64{}
	for _, at := range efficiency.Of(s, m, nil).Boundaries {
		found[at.Boundary] = math.Round(1e4*at.SPF) / 1e4
	}
	return found
}

// TestBoundariesFollowWhatIsMetered takes the same plant under other meters;
// whatever is known must come out as in the worked example.
func TestBoundariesFollowWhatIsMetered(t *testing.T) {
	everything := []string{"compressor", "fan", "controls", "circulation_pump", "backup_heater", "immersion_heater"}
	all := map[efficiency.Boundary]float64{"H2": 2.9508, "H3": 2.7761, "H4": 2.6571}
	check := func(name string, s *siteday.Sums, covers []string, afterBackup bool, measured efficiency.Boundary, want map[efficiency.Boundary]float64) {
		t.Run(name, func(t *testing.T) {
			m := efficiency.MetersOf(covers, afterBackup)
			assert.Equal(t, measured, m.Boundary())
			assert.Equal(t, want, boundariesOf(s, m))
			if spf, ok := want[measured]; ok {
				heatJ, electricityJ := m.Measured(s)
				assert.InDelta(t, spf, heatJ/electricityJ, 5e-5)
			}
		})
	}
	check("all sub-meters", year(), everything, false, "H4", all)

	after := year() // the heat meter sees the 100 kWh of the backup heater
	after.HeatJ[operation.Heating] += 100 * kWhJ
	check("heat meter after the backup heater", after, everything, true, "H4", all)

	noPump := year()
	noPump.Pump.OwnKnownS, noPump.Pump.OwnJ = 0, 0
	check("pump not metered apart", noPump, everything, false, "H4", map[efficiency.Boundary]float64{"H4": 2.6571})

	pumpOutside := year() // the pump is on another circuit, with its own meter
	pumpOutside.ElectricityJ[operation.Heating] -= 150 * kWhJ
	check("pump on another circuit", pumpOutside, slices.DeleteFunc(slices.Clone(everything), func(part string) bool { return part == "circulation_pump" }), false, "H3", all)

	machineOnly := year() // so are the heaters
	machineOnly.ElectricityJ[operation.Heating] -= 250 * kWhJ
	machineOnly.ElectricityJ[operation.Off] -= 200 * kWhJ
	check("pump and heaters on other circuits", machineOnly, []string{"compressor", "fan", "controls"}, false, "H2", all)
	check("no fan on the meter", machineOnly, []string{"compressor", "controls"}, false, "H1", map[efficiency.Boundary]float64{"H1": 2.9508})

	silent := year() // no sub-meters at all
	silent.Pump, silent.BackupKnownS, silent.BackupJ, silent.BackupInJ = siteday.Pump{}, 0, 0, siteday.ByState{}
	check("one meter for everything", silent, nil, true, "H4", map[efficiency.Boundary]float64{"H4": 2.5714}) // 9000/3500

	// Nothing stated: the heater is taken to be in the circuit before the heat
	// meter, 100 kWh of it with the compressor: (9000-100)/3050, (8900+300)/3350, /3500.
	check("sub-meters and nothing stated", year(), nil, true, "H4", map[efficiency.Boundary]float64{"H2": 2.9180, "H3": 2.7463, "H4": 2.6286})
}

func TestUnseenHeaterIsSaid(t *testing.T) {
	s := year()
	s.BackupKnownS, s.BackupJ, s.BackupInJ = 0, 0, siteday.ByState{}
	said := efficiency.Of(s, efficiency.MetersOf([]string{"compressor", "fan", "circulation_pump", "backup_heater"}, false), nil).Assumed
	require.Len(t, said, 1)
	assert.Contains(t, said[0], "no heat from the backup heater")
}

func TestNothingGivesNothing(t *testing.T) {
	r := efficiency.Of(&siteday.Sums{}, efficiency.Meters{}, []efficiency.Point{{OutdoorC: 7, FlowC: 35, COP: 4}})
	assert.Empty(t, r.Boundaries)
	assert.Nil(t, r.Space)
	assert.Nil(t, r.HotWater)
	assert.Nil(t, r.HeatingShare)
	assert.Empty(t, r.ByOutdoor)
	_, ok := r.Laboratory.Ratio()
	assert.False(t, ok)
}
