package sensor

import (
	"fmt"
	"time"

	"coldweek/ingest"
)

const (
	// Light before sunrise or after sunset by more than twilightH is a wrong
	// clock, by decidedH more than that a suspicion.
	twilightH, decidedH = 0.6, 0.4
	daylightWM2         = 20
	// nightBlocks without light end a day.
	nightBlocks = 2 * blocksPerH
)

// daylight holds the hours of light against the sun over the place. Walls and
// clouds can only shorten a day, so light before sunrise or after sunset means
// a clock behind or ahead, at least by that and at most by what is missing at
// the other end.
func (l *look) daylight() (Suspicion, bool) {
	c := l.column(ingest.Irradiance)
	if l.known.Place == nil || c.Len() == 0 {
		return Suspicion{}, false
	}
	lightWM2 := l.means(c, blockMS)
	for k := 1; k+1 < len(lightWM2); {
		if !(lightWM2[k] >= daylightWM2 && lightWM2[k-1] < daylightWM2) {
			k++
			continue
		}
		first, last := k, k // lit blocks; of one without readings nothing is known
		for ; k < len(lightWM2) && k-last <= nightBlocks; k++ {
			if lightWM2[k] >= daylightWM2 {
				last = k
			}
		}
		if k-last <= nightBlocks {
			break
		}
		if s, ok := l.judgeLight(l.blockStart(first), l.blockStart(last+1)); ok {
			return s, true
		}
	}
	return Suspicion{}, false
}

func (l *look) judgeLight(firstMS, lastMS int64) (Suspicion, bool) {
	riseMS, setMS, ok := l.known.Place.day((firstMS + lastMS) / 2)
	if !ok {
		return Suspicion{}, false
	}
	earlyH, lateH := float64(firstMS-riseMS)/hourMS, float64(lastMS-setMS)/hourMS
	lowH, highH := lateH-twilightH, earlyH+twilightH
	if !(lowH > decidedH || highH < -decidedH) || lowH > highH+1 {
		return Suspicion{}, false
	}
	lowH, highH = min(lowH, highH), max(lowH, highH)
	h := (earlyH + lateH) / 2
	h = min(max(h, lowH), highH)
	return Suspicion{
		Kind: ClockOffset, Channels: []ingest.Channel{ingest.Channel(ingest.Irradiance)}, Since: utc(l.fromMS), Until: utc(l.t.EdgeMS[l.t.Len()]),
		Size: h, Low: lowH, High: highH, Unit: "h",
		Detail: fmt.Sprintf("by the readings it was light from %s to %s UTC, but the sun was up from %s to %s: the clock is %s (%.1f to %.1f h), or the place in the record is wrong",
			clockTime(firstMS), clockTime(lastMS), clockTime(riseMS), clockTime(setMS), aheadOrBehind(h), lowH, highH),
	}, true
}

func clockTime(ms int64) string { return time.UnixMilli(ms).UTC().Format("15:04") }

func aheadOrBehind(h float64) string {
	if h < 0 {
		return fmt.Sprintf("behind by about %.1f h", -h)
	}
	return fmt.Sprintf("ahead by about %.1f h", h)
}

// day returns sunrise and sunset of the sun's day nearest to a time, false
// where the sun does not rise or set.
func (p Place) day(nearMS int64) (riseMS, setMS int64, ok bool) {
	const stepMS = 2 * 60 * 1000
	noonMS := nearMS
	for ms := nearMS - 12*hourMS; ms <= nearMS+12*hourMS; ms += 10 * stepMS {
		if p.sinSunHeight(ms) > p.sinSunHeight(noonMS) {
			noonMS = ms
		}
	}
	riseMS, setMS = noonMS, noonMS
	for p.sinSunHeight(riseMS) > 0 && noonMS-riseMS < 12*hourMS {
		riseMS -= stepMS
	}
	for p.sinSunHeight(setMS) > 0 && setMS-noonMS < 12*hourMS {
		setMS += stepMS
	}
	return riseMS, setMS, riseMS < noonMS && noonMS-riseMS < 12*hourMS && setMS-noonMS < 12*hourMS
}
