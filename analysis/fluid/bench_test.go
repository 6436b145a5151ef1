package fluid

import "testing"

func BenchmarkHeatPower(b *testing.B) {
	f := Water()
	var totalW float64
	i := 0
	for b.Loop() {
		i++
		totalW += f.HeatPowerW(1200, 30+float64(i&15), 25+float64(i&7), MeterInReturn)
	}
	_ = totalW
}

func BenchmarkHeatCoefficient(b *testing.B) {
	f := Water()
	for b.Loop() {
		f.HeatCoefficientJM3K(35, 30, MeterInReturn)
	}
}

func BenchmarkGlycol(b *testing.B) {
	for b.Loop() {
		if _, err := Glycol(PropyleneGlycol, 25, ByVolume); err != nil {
			b.Fatal(err)
		}
	}
}
