package season

// Bin is the hours at one outdoor temperature.
type Bin struct{ OutdoorC, Hours float64 }

// Climate is the hours of a heating season by outdoor temperature.
type Climate struct {
	Name    string
	DesignC float64 // outdoor design temperature
	Bins    []Bin   // by ascending temperature
	// FullLoadHours is what the regulation rounds the equivalent full load to.
	FullLoadHours float64
	Off           OffHours
}

// OffHours are a heating-only unit's hours in the modes in which it gives no
// heat. They are from memory, not compared with the standard.
type OffHours struct{ ThermostatOffHours, StandbyHours, CrankcaseHours, OffHours float64 }

// BalanceC is the outdoor temperature at which the standard's house needs no
// heat.
const BalanceC = 16

// Hours of the three climates, 1 K apart and ending at 15 °C (Tables 10 and 12).
var (
	averageHours = []float64{1, 25, 23, 24, 27, 68, 91, 89, 165, 173, 240, 280, 320, 357, 356, 303, 330, 326, 348, 335, 315, 215, 169, 151, 105, 74}
	colderHours  = []float64{1, 6, 13, 17, 19, 26, 39, 41, 35, 52, 37, 41, 43, 54, 90, 125, 169, 195, 278, 306, 454, 385, 490, 533, 380, 228, 261, 279,
		229, 269, 233, 230, 243, 191, 146, 150, 97, 61}
	warmerHours = []float64{3, 22, 63, 63, 175, 162, 259, 360, 428, 430, 503, 444, 384, 294}
)

// Standard returns the standard's average, colder and warmer climates.
func Standard() []Climate {
	return []Climate{
		{Name: "average", DesignC: -10, Bins: binsFrom(-10, averageHours), FullLoadHours: 2066, Off: OffHours{179, 0, 3851, 3672}},
		{Name: "colder", DesignC: -22, Bins: binsFrom(-22, colderHours), FullLoadHours: 2465, Off: OffHours{131, 0, 2944, 2189}},
		{Name: "warmer", DesignC: 2, Bins: binsFrom(2, warmerHours), FullLoadHours: 1336, Off: OffHours{755, 0, 4476, 4345}},
	}
}

func binsFrom(lowestC float64, hours []float64) []Bin {
	bins := make([]Bin, len(hours))
	for i, h := range hours {
		bins[i] = Bin{OutdoorC: lowestC + float64(i), Hours: h}
	}
	return bins
}

// Hours is the length of the season.
func (c Climate) Hours() float64 {
	hours := 0.0
	for _, b := range c.Bins {
		hours += b.Hours
	}
	return hours
}

// PartLoadRatio is the share of the design heat that the standard's house needs
// at an outdoor temperature.
func (c Climate) PartLoadRatio(outdoorC float64) float64 {
	return (outdoorC - BalanceC) / (c.DesignC - BalanceC)
}

// Plant is what a house needs, what its machine can give and what that makes of
// electricity, by outdoor temperature.
type Plant struct {
	NeedW     func(outdoorC float64) float64
	CapacityW func(outdoorC float64) float64 // nil: never short; what is missing is resistance heat
	COP       func(outdoorC float64) float64 // of the machine's part
}

// Row is one bin's part of a season.
type Row struct {
	Bin
	NeedW, CapacityW, BackupW, COP float64
	HeatJ, ElectricityJ            float64
}

// Total is a season's heat and electricity.
type Total struct{ HeatJ, BackupJ, ElectricityJ float64 }

// SPF is heat by electricity, the standard's SCOPon.
func (t Total) SPF() float64 { return t.HeatJ / t.ElectricityJ }

// NetSPF leaves the resistance heat out, the standard's SCOPnet.
func (t Total) NetSPF() float64 { return (t.HeatJ - t.BackupJ) / (t.ElectricityJ - t.BackupJ) }

// Sum goes through a season bin by bin:
//
//	heat = hours · need, electricity = hours · ((need - backup)/COP + backup)
func (c Climate) Sum(p Plant) (Total, []Row) {
	var total Total
	rows := make([]Row, len(c.Bins))
	for i, bin := range c.Bins {
		r := Row{Bin: bin, NeedW: max(p.NeedW(bin.OutdoorC), 0), COP: p.COP(bin.OutdoorC)}
		r.CapacityW = r.NeedW
		if p.CapacityW != nil {
			r.CapacityW = p.CapacityW(bin.OutdoorC)
		}
		r.BackupW = max(r.NeedW-r.CapacityW, 0)
		seconds := bin.Hours * secondsPerHour
		r.HeatJ = seconds * r.NeedW
		r.ElectricityJ = seconds * ((r.NeedW-r.BackupW)/r.COP + r.BackupW)
		total.HeatJ += r.HeatJ
		total.BackupJ += seconds * r.BackupW
		total.ElectricityJ += r.ElectricityJ
		rows[i] = r
	}
	return total, rows
}
