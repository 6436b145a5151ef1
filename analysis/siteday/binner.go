package siteday

import (
	"math"

	"coldweek/analysis/operation"
)

// Temperatures outside are no weather and no heating water: they would make
// bins without end.
const lowestBinC, highestBinC = -60, 140

// binner adds intervals up by whole degrees of a temperature, without a map in
// the loop.
type binner struct {
	columnC []float64
	sums    []Bin
}

func newBinner(columnC []float64, n int) binner {
	if columnC == nil || n == 0 {
		return binner{}
	}
	return binner{columnC: columnC, sums: make([]Bin, highestBinC-lowestBinC)}
}

func (b *binner) add(i int, state operation.State, p part) {
	if b.columnC == nil || !(b.columnC[i] >= lowestBinC && b.columnC[i] < highestBinC) {
		return
	}
	bin := &b.sums[int(math.Floor(b.columnC[i]))-lowestBinC]
	bin.SecondsS[state] += p.durS
	if p.covered {
		bin.CoveredS[state] += p.durS
		bin.HeatJ[state] += p.heatJ
		bin.ElectricityJ[state] += p.electricityJ
		bin.BackupJ[state] += p.backupJ
		if p.idealKnown {
			bin.IdealJ[state] += p.idealJ
			bin.IdealCoveredJ[state] += p.electricityJ
		}
	}
}

// bins returns those in which any time was spent.
func (b *binner) bins() map[int]Bin {
	used := map[int]Bin{}
	for k, bin := range b.sums {
		if bin.SecondsS.Total() > 0 {
			used[k+lowestBinC] = bin
		}
	}
	return used
}
