package capacity

import "math"

const (
	// shortK below its target is water that the machine cannot heat further.
	shortK = 1.5
	// backupJ in an hour is a heater at work: 0.05 kWh.
	backupJ = 0.05 * 3.6e6
	// nearPowerRatio of a band's P95 power is a machine at its hardest there.
	nearPowerRatio = 0.9
	// levelRatio is how alike power is where it no longer rises: the medians of
	// bands, and within each from P20 to P90. An unlimited machine's rises by some
	// 7 % for each kelvin it gets colder.
	levelRatio = 0.06
	// levelBands side by side, each with levelHours, make a level.
	levelBands, levelHours = 3, 6
)

// sign marks the hours with a sign of full output and returns the signs that were
// seen often enough.
func sign(hours []hour) []Sign {
	seen := map[Sign][]*hour{}
	bands := bandsOf(hours)
	level := levelOf(bands, hours)
	for i := range bands {
		b := &bands[i]
		p95W, _ := b.quantile(0.95, powerOf, anyHour)
		for _, h := range b.hours {
			if h.powerW < nearPowerRatio*p95W {
				continue
			}
			for _, s := range signsOf(h, level[b.low]) {
				seen[s] = append(seen[s], h)
			}
		}
	}
	var signs []Sign
	for _, s := range []Sign{AsInLaboratory, BelowTarget, BackupHelped, PowerLevel} {
		if len(seen[s]) < minFullHours {
			continue
		}
		signs = append(signs, s)
		for _, h := range seen[s] {
			h.signed = true
		}
	}
	return signs
}

func signsOf(h *hour, level bool) []Sign {
	var signs []Sign
	if !math.IsNaN(h.labW) && h.heatW >= fullRatio*h.labW {
		signs = append(signs, AsInLaboratory)
	}
	if h.shortK >= shortK && h.throughout {
		signs = append(signs, BelowTarget)
	}
	if h.backupJ >= backupJ {
		signs = append(signs, BackupHelped)
	}
	if level && h.throughout {
		signs = append(signs, PowerLevel)
	}
	return signs
}

// levelOf finds neighbouring bands in which a machine that never stopped took
// the same power, and hardly ever more anywhere: at its lowest output power is
// level as well.
func levelOf(bands []band, hours []hour) map[int]bool {
	level := map[int]bool{}
	p95W := quantileOf(hours, 0.95, powerOf)
	for i := 0; i+levelBands <= len(bands); i++ {
		lowestW, highestW := math.Inf(1), 0.0
		side := bands[i : i+levelBands]
		for k := range side {
			low, high := side[k].levelW()
			if side[k].low != side[0].low+k*binK {
				high = math.Inf(1)
			}
			lowestW, highestW = min(lowestW, low), max(highestW, high)
		}
		for k := range side {
			level[side[k].low] = level[side[k].low] || highestW <= (1+levelRatio)*lowestW && lowestW >= nearPowerRatio*p95W
		}
	}
	return level
}

// levelW is the median power of hours without a stop, twice; without bound where
// they are few or scatter.
func (b *band) levelW() (lowW, highW float64) {
	throughout := func(h *hour) bool { return h.throughout }
	p20W, n := b.quantile(0.2, powerOf, throughout)
	medianW, _ := b.quantile(0.5, powerOf, throughout)
	p90W, _ := b.quantile(0.9, powerOf, throughout)
	if n < levelHours || p90W > (1+levelRatio)*p20W {
		return 0, math.Inf(1)
	}
	return medianW, medianW
}
