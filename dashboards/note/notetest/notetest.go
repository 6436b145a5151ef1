// Package notetest plays simulated plants for tests of the note: their readings
// in a store, summed up and watched.
package notetest

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/dashboards/note"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

// Plant is a site in a store.
type Plant struct {
	Record *site.Record
	Store  *local.Store
	Month  note.Month // the one to write of
}

// January is the month that the plants are looked at in.
var January = note.Month{Year: 2026, Month: time.January}

// Written is when the notes of January are written.
var Written = time.Date(2026, 2, 3, 8, 0, 0, 0, time.UTC)

// Play puts a plant's readings of months into a new store, sums them up and
// watches the one it is about. Times that are cut out have no readings. Each month
// has weather of its own.
func Play(t testing.TB, plant rig.Plant, month note.Month, cut []job.Window, months ...note.Month) *Plant {
	t.Helper()
	plant.Metering.Interval, plant.Step = time.Minute, 3*time.Second
	st, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	p := &Plant{Record: plant.Record(), Store: st, Month: month}
	for i, room := range p.Record.Emitters.Rooms {
		if i > 0 { // the rig's other rooms are cooler by design
			p.Record.Emitters.Rooms[i].SetTempC = new(*room.SetTempC - 1.5)
		}
	}
	for i, m := range append(months, month) {
		plant.Seed += uint64(i)
		p.play(t, plant, m.Window(p.Record), cut)
	}
	_, err = job.Compared(t.Context(), st, p.Record, month.Window(p.Record), nil)
	require.NoError(t, err)
	require.NoError(t, job.WatchHistory(t.Context(), st, p.Record, month.Window(p.Record), nil))
	return p
}

func (p *Plant) play(t testing.TB, plant rig.Plant, w job.Window, cut []job.Window) {
	t.Helper()
	r, err := rig.New(plant, w.From)
	require.NoError(t, err)
	for _, c := range r.Columns(w.To) {
		var batch []ingest.Reading
		for i := range c.UnixMS {
			at := time.UnixMilli(c.UnixMS[i])
			if !within(at, cut) {
				batch = append(batch, ingest.Reading{Site: plant.ID, Channel: c.Channel, Time: at, Value: c.Value[i]})
			}
		}
		_, err := p.Store.Append(t.Context(), batch)
		require.NoError(t, err)
	}
}

// Late gives another site one reading of the month, and no more.
func (p *Plant) Late(t testing.TB, id string) {
	t.Helper()
	_, err := p.Store.Append(t.Context(), []ingest.Reading{{Site: id, Channel: "flow_temp", Time: p.Month.Window(p.Record).From.Add(time.Hour), Value: 30}})
	require.NoError(t, err)
}

func within(at time.Time, spans []job.Window) bool {
	for _, w := range spans {
		if !at.Before(w.From) && at.Before(w.To) {
			return true
		}
	}
	return false
}

// Facts are those of the plant's month.
func (p *Plant) Facts(t testing.TB) *note.Facts {
	t.Helper()
	f, err := note.Gather(t.Context(), p.Store, p.Record, p.Month, Written, nil)
	require.NoError(t, err)
	f.Watched = true
	return f
}

// Good runs as it should, and did a year ago.
func Good(t testing.TB) *Plant {
	t.Helper()
	plant := rig.Houses()[0]
	plant.Paperwork.Contact.EngineerPhone, plant.Paperwork.Contact.EngineerEmail = "01632 960 112", "office@hallam.example"
	plant.Paperwork.Contact.HomeownerEmail = "okafor@home.example"
	plant.Paperwork.Tariff.CarbonSource = "invented factors for this example, 2025"
	plant.Paperwork.Tariff.TimeOfUse = []site.TimeOfUseRate{{TimeSpan: site.TimeSpan{From: "00:30", To: "04:30"}, PricePerKWh: 0.135}}
	return Play(t, plant, January, nil, January.Before(12), January.Before(1))
}

// ShortCycling starts and stops often.
func ShortCycling(t testing.TB) *Plant {
	t.Helper()
	return Play(t, rig.Houses()[1], January, nil, January.Before(1))
}

// LowFlow has a strainer that blocks; its note is in German, and its carbon
// factors name no source.
func LowFlow(t testing.TB) *Plant {
	t.Helper()
	plant := rig.Houses()[2]
	plant.Troubles = []rig.Trouble{{Kind: rig.BlockingStrainer, After: 6 * 24 * time.Hour, Size: 3}}
	plant.Paperwork.Tariff.CarbonSource = ""
	plant.Paperwork.Note = &site.Note{Language: "de"}
	return Play(t, plant, January, nil)
}

// HalfMissing sent nothing from the eighth to the twenty-fourth.
func HalfMissing(t testing.TB) *Plant {
	t.Helper()
	plant := rig.Houses()[0]
	plant.ID = "half-orchard"
	gap := job.Window{From: time.Date(2026, 1, 8, 5, 0, 0, 0, time.UTC), To: time.Date(2026, 1, 24, 17, 0, 0, 0, time.UTC)}
	return Play(t, plant, January, []job.Window{gap})
}

// Empty is a store without readings.
func Empty(t testing.TB) *local.Store {
	t.Helper()
	st, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	return st
}
