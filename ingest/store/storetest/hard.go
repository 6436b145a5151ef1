package storetest

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"coldweek/ingest"
)

func exactValues(h *harness) {
	values := []float64{
		0, 0.1, 0.1 + 0.2, -273.15, 1.0 / 3, 1e-9, 123456789.123, 1 << 53, 1<<53 + 2,
		math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, math.Pi * 1e100, 35.21000000000004,
	}
	start := Now.AddDate(0, 0, -2)
	want := series("moorhof", "power", start, time.Second, len(values))
	for i, v := range values {
		want[i].Value = v
	}
	h.append(want...)
	h.holds(h.all("moorhof", "power"), want...)
	h.maintain(Now)
	h.holds(h.all("moorhof", "power"), want...)
}

func impossibleReadings(h *harness) {
	good := reading("moorhof", "power", Now, 1)
	for _, bad := range []ingest.Reading{
		reading("moorhof", "power", Now, math.NaN()),
		reading("moorhof", "power", Now, math.Inf(-1)),
		reading("", "power", Now, 1),
		reading("moorhof", "", Now, 1),
	} {
		_, err := h.store.Append(h.ctx, []ingest.Reading{good, bad})
		h.Error(err)
	}
	h.Zero(h.all("moorhof", "power").Len())
}

func cancelled(h *harness) {
	ctx, cancel := context.WithCancel(h.ctx)
	cancel()
	batch := series("moorhof", "power", Now.AddDate(0, 0, -1), time.Second, 2000)
	_, err := h.store.Append(ctx, batch)
	h.ErrorIs(err, context.Canceled)
	_, err = h.store.Scan(ctx, "moorhof", []ingest.Channel{"power"}, Now.AddDate(0, 0, -1), Now)
	h.ErrorIs(err, context.Canceled)
	h.Zero(h.all("moorhof", "power").Len())
	h.Zero(h.revision("moorhof", Now.AddDate(0, 0, -2), Now))

	// Cancelled somewhere on the way, an append has happened as a whole or not
	// at all.
	for i := range 20 {
		ctx, cancel := context.WithTimeout(h.ctx, time.Duration(i)*500*time.Microsecond)
		_, err := h.store.Append(ctx, batch)
		cancel()
		n := h.all("moorhof", "power").Len()
		if err == nil {
			h.Equal(len(batch), n)
			return
		}
		h.Contains([]int{0, len(batch)}, n)
	}
	missing := len(batch) - h.all("moorhof", "power").Len()
	h.changes(missing, batch...)
}

func largeBatch(h *harness) {
	want := series("moorhof", "power", Now.AddDate(0, 0, -9), 10*time.Second, 70_000)
	shuffled := append(slices.Clone(want), series("moorhof", "flow_temp", Now.AddDate(0, 0, -9), 10*time.Second, 20_000)...)
	rng := rand.New(rand.NewPCG(7, 7))
	rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	h.changes(90_000, shuffled...)
	h.holds(h.all("moorhof", "power"), want...)
	h.changes(0, shuffled...)
}

// lateReadings goes through every order of few and many readings and upkeep.
func lateReadings(h *harness) {
	day := time.Date(2026, 2, 2, 0, 0, 0, 0, time.UTC)
	want := series("moorhof", "power", day, 10*time.Second, 8640)
	set := func(from, to, step int, value float64) {
		var batch []ingest.Reading
		for i := from; i < to; i += step {
			want[i].Value = value
			batch = append(batch, want[i])
		}
		h.changes(len(batch), batch...)
		h.holds(h.all("moorhof", "power"), want...)
	}
	h.append(want[:5000]...)
	h.append(want[5000:]...)
	for i, step := range []func(value float64){
		func(v float64) { set(0, 8640, 1, v) },       // many over many
		func(v float64) { set(100, 200, 7, v) },      // few over many
		func(v float64) { set(0, 6000, 2, v) },       // many over few
		func(v float64) { set(100, 200, 3, v) },      // few over many
		func(float64) { h.maintain(Now) },            // packed
		func(v float64) { set(150, 8640, 1500, v) },  // few over packed
		func(float64) { h.maintain(day.Add(1e9)) },   // the day has not ended: nothing to pack
		func(v float64) { set(150, 8640, 3000, v) },  // few over few over packed
		func(float64) { h.maintain(Now) },            // packed again
		func(v float64) { set(10, 5000, 4, v) },      // many over packed
		func(v float64) { set(8639, 8640, 1, v+.5) }, // one at the end of the day
		func(float64) { h.maintain(Now) },
	} {
		step(float64(1000 + i))
		h.holds(h.all("moorhof", "power"), want...)
		h.holds(h.scan("moorhof", "power", want[120].Time, want[180].Time), want[120:180]...)
	}
	h.changes(0, want...)
}

func sideBySide(h *harness) {
	channels := []ingest.Channel{"flow_temp", "return_temp", "power", "flow_rate"}
	var group sync.WaitGroup
	start := Now.AddDate(0, 0, -5)
	for _, channel := range channels {
		readings := series("moorhof", channel, start, time.Minute, 5*24*60)
		group.Go(func() {
			for batch := range slices.Chunk(readings, 400) {
				if _, err := h.store.Append(h.ctx, batch); err != nil {
					h.T.Error(err)
				}
			}
		})
	}
	group.Go(func() {
		last := 0
		for range 20 {
			columns, err := h.store.Scan(h.ctx, "moorhof", channels, start, Now)
			if err != nil {
				h.T.Error(err)
				return
			}
			total := 0
			for _, c := range columns {
				if !slices.IsSorted(c.UnixMS) {
					h.T.Error("times do not ascend")
				}
				total += c.Len()
			}
			if total < last {
				h.T.Errorf("%d readings after %d", total, last)
			}
			last = total
		}
	})
	group.Wait()
	for _, channel := range channels {
		h.holds(h.all("moorhof", channel), series("moorhof", channel, start, time.Minute, 5*24*60)...)
	}
}

// model is the contract for readings as a map.
type model map[ingest.Channel]map[int64]float64

func (m model) append(batch []ingest.Reading) (changed int64) {
	before := model{}
	for _, r := range batch {
		c, ms := r.Channel, r.Time.UnixMilli()
		if m[c] == nil {
			m[c], before[c] = map[int64]float64{}, map[int64]float64{}
		}
		if before[c] == nil {
			before[c] = map[int64]float64{}
		}
		if _, seen := before[c][ms]; !seen {
			old, ok := m[c][ms]
			if !ok {
				old = math.NaN()
			}
			before[c][ms] = old
		}
		m[c][ms] = r.Value
	}
	for c, times := range before {
		for ms, old := range times {
			if m[c][ms] != old {
				changed++
			}
		}
	}
	return changed
}

func (m model) scan(c ingest.Channel, from, to time.Time) []ingest.Reading {
	var out []ingest.Reading
	for ms, v := range m[c] {
		if at := time.UnixMilli(ms); !at.Before(from) && at.Before(to) {
			out = append(out, reading("", c, at, v))
		}
	}
	slices.SortFunc(out, func(a, b ingest.Reading) int { return a.Time.Compare(b.Time) })
	return out
}

func randomAppends(h *harness) {
	rng := rand.New(rand.NewPCG(20260210, 1))
	m := model{}
	channels := []ingest.Channel{"flow_temp", "power"}
	start := Now.AddDate(0, 0, -4).Truncate(24 * time.Hour)
	for range 120 {
		size := []int{1, 5, 60, 900}[rng.IntN(4)]
		first, every := rng.IntN(4*1440), []int{0, 1, 3}[rng.IntN(3)]
		var batch []ingest.Reading
		for i := range size {
			at := start.Add(time.Duration(first+i*every) * time.Minute)
			batch = append(batch, reading("moorhof", channels[rng.IntN(2)], at, float64(rng.IntN(4))))
		}
		h.changes(int(m.append(batch)), batch...)
		if rng.IntN(5) == 0 {
			h.maintain(start.AddDate(0, 0, rng.IntN(8)))
		}
		from := start.Add(time.Duration(rng.IntN(5*1440)) * time.Minute)
		to := from.Add(time.Duration(rng.IntN(3*1440)) * time.Minute)
		for _, c := range channels {
			h.holds(h.scan("moorhof", c, from, to), m.scan(c, from, to)...)
		}
	}
	for _, c := range channels {
		h.holds(h.all("moorhof", c), m.scan(c, time.Time{}, Now.AddDate(1, 0, 0))...)
	}
}
