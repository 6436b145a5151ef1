package operation

import (
	"math"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

const (
	// minCirculatingLPH is what a resting flow meter's noise stays below.
	minCirculatingLPH = 30
	// minBackupW tells a backup heater's share from a meter's noise.
	minBackupW = 100
)

// findIdle gives the intervals without a running compressor their state, and
// the running ones that nothing else claimed: heating.
func (d *detector) findIdle() {
	for i := range d.op.State {
		switch {
		case !d.known(i):
			d.op.State[i] = Unknown
		case d.running[i]:
			if d.op.State[i] == Unknown {
				d.op.State[i] = Heating
			}
		case trace.At(d.t.FlowLPH, i) > minCirculatingLPH:
			d.op.State[i] = Circulating
		default:
			d.op.State[i] = Off
		}
	}
}

func (d *detector) findBackup() {
	backupW := d.t.Mean(ingest.Channel(ingest.BackupPower))
	for i := range d.op.Backup {
		w := trace.At(backupW, i)
		d.op.Backup[i] = !math.IsNaN(w) && w > minBackupW
	}
}
