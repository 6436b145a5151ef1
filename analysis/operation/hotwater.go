package operation

import "coldweek/ingest"

// findHotWater marks running intervals in which the cylinder is charged, as
// the mode says. A defrost between two of them belongs to the same run.
func (d *detector) findHotWater() {
	open := -1
	for i := range d.op.State {
		m, ok := d.modeAt(i)
		charging := ok && m == ingest.ModeHotWater && d.running[i]
		switch {
		case charging && d.op.State[i] == Unknown:
			d.op.State[i] = HotWater
			if open < 0 {
				d.op.HotWater = append(d.op.HotWater, HotWaterRun{First: i})
				open = len(d.op.HotWater) - 1
			}
			d.op.HotWater[open].Last = i + 1
		case d.op.State[i] != Defrost:
			open = -1
		}
	}
}
