package job_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// houses is how many the heat loss is tried on: COLDWEEK_SEEDS, else 120 with
// COLDWEEK_ALL=1, else a few.
func houses(t *testing.T) int {
	t.Helper()
	if os.Getenv("COLDWEEK_ALL") == "1" {
		return seeds(t, 60)
	}
	return seeds(t, 16)
}

// misread gives a plant's meter errors as large as its class allows, each
// anywhere within its limit: class 2 of EN 1434-1 with the record's permanent flow
// of 2.5 m³/h and least difference of 3 K. The simulated plants' own meters are
// better, and an interval that holds the meter's doubt would be too wide for them.
func misread(columns []ingest.Column, seed uint64, flowLPH float64) []ingest.Column {
	d := rand.New(rand.NewPCG(seed, 0x6d6574657273))
	within := func(limit float64) float64 { return limit * (2*d.Float64() - 1) }
	flow := 1 + within(0.02+0.0002*2500/flowLPH)
	pair, calculator := 1+within(0.005), 1+within(0.005)
	differenceK := within(0.03*3) + within(0.01*3)
	var read []ingest.Column
	for _, c := range columns {
		values := slices.Clone(c.Value)
		switch c.Channel.Quantity() {
		case ingest.HeatRegister, ingest.HeatOutput:
			continue // they would tell the truth
		case ingest.FlowRate:
			for i := range values {
				values[i] *= flow * pair * calculator
			}
		case ingest.FlowTemp:
			for i := range values {
				values[i] += differenceK
			}
		}
		read = append(read, ingest.Column{Channel: c.Channel, UnixMS: c.UnixMS, Value: values})
	}
	return read
}

// trial is the heat loss of one house by some days.
type trial struct {
	house                 string
	days                  int
	rooms                 bool
	method                string
	truthKW, kW, low, top float64
	verdict               string
	trueRatio             float64
}

func (r *trial) errorRatio() float64 { return r.kW/r.truthKW - 1 }
func (r *trial) halfRatio() float64  { return (r.top - r.low) / 2 / r.truthKW }
func (r *trial) holds() bool         { return r.low <= r.truthKW && r.truthKW <= r.top }

// wrong says whether a verdict tells a difference to the design that is not
// there, within a twentieth, or that is the other way.
func (r *trial) wrong() bool {
	return r.verdict == "below design" && r.trueRatio > 0.95 || r.verdict == "above design" && r.trueRatio < 1.05
}

func tryHeatLoss(t *testing.T, seed uint64, from time.Time, days ...int) []trial {
	plant := rig.Random(seed)
	plant.Metering.PairOffsetK = 0 // misread has its own
	p := play(t, plant, from, slices.Max(days))
	p.columns = misread(p.columns, seed, plant.Loop.FlowLPH)
	truth := p.truth.Parameters
	whole := p.window
	var trials []trial
	for _, n := range days {
		p.window = job.Window{From: whole.From, To: whole.From.AddDate(0, 0, n)}
		r := p.analyse(t)
		h := r.HeatLoss
		require.NotNil(t, h.AtDesignKW, "%s after %d days: %s", plant.ID, n, *h.Why)
		trials = append(trials, trial{
			house: plant.ID, days: n, rooms: r.Loss.WithRooms, method: string(r.Loss.Method), truthKW: truth.HeatLossAtDesignW / 1000,
			kW: *h.AtDesignKW, low: *h.LowKW, top: *h.HighKW, verdict: *h.Verdict, trueRatio: truth.HeatLossAtDesignW / 1000 / *h.DesignKW,
		})
	}
	return trials
}

// TestHeatLossOfKnownHouses: simulated houses whose loss is known, heat meters of
// class 2 with errors as large as the class allows, from 5 January. After four
// weeks, and after the first, the 95 % interval of the loss at the design
// temperature must hold the truth in 90 to 98 % of houses, and the middle one's
// error must be at most 5 %; after a week the interval must be wider.
// COLDWEEK_ALL=1 tries 60 (COLDWEEK_SEEDS=120 gave 94 and 97 %);
// a few say little of a share, so of them nearly all must hold it.
func TestHeatLossOfKnownHouses(t *testing.T) {
	all := tryHouses(t, houses(t), time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 7, 28)
	week := summary(t, all, 0)
	month := summary(t, all, 1)
	assert.Greater(t, week.half, 1.3*month.half, "a week knows less")
}

// TestHeatLossInSpring: from late February on the sun rises as it gets warmer,
// and two thirds of the houses do not measure it. It takes COLDWEEK_ALL=1.
func TestHeatLossInSpring(t *testing.T) {
	if os.Getenv("COLDWEEK_ALL") != "1" {
		t.Skip("COLDWEEK_ALL=1 plays twenty houses for sixty days of spring")
	}
	summary(t, tryHouses(t, 20, time.Date(2026, 2, 25, 0, 0, 0, 0, time.UTC), 60), 0)
}

func tryHouses(t *testing.T, n int, from time.Time, days ...int) [][]trial {
	all := make([][]trial, n)
	var wg sync.WaitGroup
	turns := make(chan struct{}, 2)
	for i := range n {
		wg.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			all[i] = tryHeatLoss(t, uint64(i+1), from, days...)
		})
	}
	wg.Wait()
	return all
}

// trials is what trials of so many days come to.
type trials struct{ held, half float64 }

func summary(t *testing.T, all [][]trial, k int) trials {
	var errors, halves []float64
	held, wrong, known := 0, 0, 0
	table := fmt.Sprintf("%-9s %4s %-5s %-16s %6s %6s %14s %7s %6s %5s  %s\n", "house", "days", "rooms", "by", "truth", "kW", "95 %", "error", "half", "holds", "verdict (true ratio)")
	for _, house := range all {
		r := house[k]
		errors, halves = append(errors, math.Abs(r.errorRatio())), append(halves, r.halfRatio())
		if r.holds() {
			held++
		}
		if r.wrong() {
			wrong++
		}
		if r.verdict != "not known yet" {
			known++
		}
		table += fmt.Sprintf("%-9s %4d %-5v %-16s %6.2f %6.2f %6.2f..%6.2f %+6.1f%% %5.1f%% %5v  %s (%.2f)\n", r.house, r.days, r.rooms, r.method,
			r.truthKW, r.kW, r.low, r.top, 100*r.errorRatio(), 100*r.halfRatio(), r.holds(), r.verdict, r.trueRatio)
	}
	slices.Sort(errors)
	slices.Sort(halves)
	n := len(errors)
	middle, half, share := errors[n/2], halves[n/2], float64(held)/float64(n)
	t.Logf("\n%s%d days: interval holds the truth in %d of %d (%.1f %%), middle error %.1f %%, largest %.1f %%, middle half interval %.1f %%; a verdict in %d, a wrong one in %d",
		table, all[0][k].days, held, n, 100*share, 100*middle, 100*errors[n-1], 100*half, known, wrong)
	assert.LessOrEqual(t, middle, 0.05)
	assert.GreaterOrEqual(t, share, 0.9-1.5/float64(n))
	if n >= 120 {
		assert.GreaterOrEqual(t, share, 0.9)
		assert.LessOrEqual(t, share, 0.98, "an interval that always holds is too wide")
	}
	assert.LessOrEqual(t, wrong, 1+n/20)
	return trials{share, half}
}
