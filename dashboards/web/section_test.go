package web

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// TestSectionsAgreeWithTheFleet: seven days of testdata/telemetry/day.csv, whose sums
// are in expected.csv; see TestFleetFigures.
func TestSectionsAgreeWithTheFleet(t *testing.T) {
	h := pages(t, nil)
	week := "?from=2026-01-08&to=2026-01-14"
	figures := figuresOf(document(t, h, "/plants/"+checked+"/energy"+week, http.StatusOK))
	assert.Regexp(t, `^87[45]\.\d kWh$`, figures["Heat delivered"])
	assert.Regexp(t, `^22[56]\.\d kWh$`, figures["Electricity"])
	assert.Equal(t, "3.87", figures["SPF"])
	assert.Equal(t, "98 %", figures["Measured"])
	figures = figuresOf(document(t, h, "/plants/"+checked+"/running"+week, http.StatusOK))
	assert.Equal(t, "91", figures["Starts"], "13 a day")
	assert.Equal(t, "49", figures["Defrosts"])
	assert.Equal(t, text(document(t, h, "/plants/"+checked+"/energy"+week, http.StatusOK)), text(document(t, h, "/plants/"+checked+"/energy?last=7", http.StatusOK)),
		"the last seven days are these, and the ways on the same but for what is chosen")
}

func TestWindows(t *testing.T) {
	h := pages(t, nil)
	address := "/plants/" + checked + "/energy"
	said := text(document(t, h, address, http.StatusOK))
	assert.Contains(t, said, "Wed 31 Dec 2025 to Wed 14 Jan 2026", "28 days reach beyond the first readings, which are of 31 Dec")
	assert.Contains(t, said, "From the first readings on.")
	assert.Contains(t, text(document(t, h, address+"?from=2024-01-01&to=2026-01-14", http.StatusOK)), "Cut to the first 366 days")
	assert.Contains(t, text(document(t, h, address+"?from=2026-01-10&to=2026-02-14", http.StatusOK)), "Sat 10 Jan to Wed 14 Jan 2026", "today is not over")
	for query, want := range map[string]string{
		"?last=0": "no number of days", "?last=400": "no number of days", "?last=%3Cb%3E": "no number of days", "?from=2026-01-10": "Days need from and to",
		"?from=2026-01-10T10:00&to=2026-01-11": "Days need from and to", "?from=2026-01-12&to=2026-01-11": "before they begin", "?from=2026-01-15&to=2026-01-15": "only days that are over",
	} {
		doc := document(t, h, address+query, http.StatusBadRequest)
		assert.Contains(t, text(doc), want, query)
		assert.Contains(t, text(doc), "Check House", "a way back")
	}
}

// TestSilentPlant: the last days of a plant that has been silent for longer end with
// its newest reading.
func TestSilentPlant(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	later := clock.AddDate(0, 0, 60)
	h := pages(t, func(o *Options) { o.Store, o.Now = w.store, func() time.Time { return later } })
	doc := document(t, h, "/plants/"+checked+"/energy?last=7", http.StatusOK)
	assert.Contains(t, text(doc), "Fri 9 Jan to Thu 15 Jan 2026")
	assert.Contains(t, text(doc), "Up to the last readings.")
	assert.NotEqual(t, "–", figuresOf(doc)["Heat delivered"])
}

// TestLongRangesReadNothing: from the second time on, a long range and the pages over
// days are shown without a scan.
func TestLongRangesReadNothing(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	st := &counting{Store: w.store}
	h := pages(t, func(o *Options) { o.Store = st })
	for _, address := range []string{"?from=2025-12-25&to=2026-01-15", "/trace.svg?from=2025-12-25&to=2026-01-15", "/energy?last=365", "/house", "/running", "/hydraulics", "/hot-water"} {
		address = "/plants/" + checked + address
		require.Equal(t, http.StatusOK, get(h, address).Code, address)
		before := st.scans
		page := get(h, address)
		assert.Equal(t, before, st.scans, address)
		assert.Less(t, page.Body.Len(), maxPageBytes, address)
	}
	said := text(document(t, h, "/plants/"+checked+"?from=2025-12-25&to=2026-01-15", http.StatusOK))
	assert.Contains(t, said, "Means of hours")
	assert.NotContains(t, said, "Logbook")
}

// TestLateReadingsAreTakenIn: an answer is made anew when its readings changed.
func TestLateReadingsAreTakenIn(t *testing.T) {
	w := newWard(t, nil)
	fill := func(from time.Time) {
		var readings []ingest.Reading
		for at := from; at.Before(from.Add(time.Hour)); at = at.Add(10 * time.Second) {
			for ch, value := range map[ingest.Channel]float64{"power": 1000, "heat_output": 4000, "outdoor_temp": 3} {
				readings = append(readings, ingest.Reading{Site: "ash", Channel: ch, Time: at, Value: value})
			}
		}
		_, err := w.store.Append(context.Background(), readings)
		require.NoError(t, err)
	}
	fill(clock.AddDate(0, 0, -5))
	electricity := func() string {
		return figuresOf(document(t, w.h, "/plants/ash/energy?last=7", http.StatusOK))["Electricity"]
	}
	assert.Equal(t, "1.0 kWh", electricity())
	fill(clock.AddDate(0, 0, -4))
	assert.Equal(t, "1.0 kWh", electricity(), "kept for a short while")
	w.now = w.now.Add(answerLasts + time.Second)
	assert.Equal(t, "2.0 kWh", electricity())
}

// TestAnswersTakeTheirTime, in a bubble whose time is not real: a page does not wait
// for long, says so, and comes again.
func TestAnswersTakeTheirTime(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	synctest.Test(t, func(t *testing.T) {
		o := testOptions(w)
		held := &heldBack{Store: w.store, let: make(chan struct{})}
		o.Store = held
		s, err := newServer(o)
		require.NoError(t, err)
		h := s.guarded()
		began := time.Now()
		page := get(h, "/plants/"+checked+"/energy")
		assert.Equal(t, answerWait, time.Since(began))
		assert.Equal(t, http.StatusOK, page.Code)
		assert.Contains(t, page.Body.String(), "Putting the days together")
		assert.Contains(t, page.Body.String(), `<meta http-equiv="refresh" content="3">`)
		close(held.let)
		synctest.Wait()
		assert.Contains(t, get(h, "/plants/"+checked+"/energy").Body.String(), "Heat delivered", "made meanwhile")
	})
}

// heldBack is a store that tells no revision before it is let go.
type heldBack struct {
	Store
	let chan struct{}
}

func (s *heldBack) Revisions(ctx context.Context, id string, periods []store.Period) ([]int64, error) {
	<-s.let
	return s.Store.Revisions(ctx, id, periods)
}

// shelf is an archive of two notes.
type shelf struct{}

func (shelf) Notes(context.Context, string) ([]Note, error) {
	day := func(d int) time.Time { return time.Date(2026, 1, d, 0, 0, 0, 0, time.UTC) }
	return []Note{{From: day(1), To: day(8), Made: day(9), Files: []string{"2026-01.html", attack}, Sent: []Sending{{At: day(9), To: attack}, {At: day(9), To: "b@house.example", Failed: "mailbox full"}}}}, nil
}

func (shelf) NoteFile(_ context.Context, _, name string) ([]byte, bool, error) {
	return []byte("<style>p{}</style><p>note"), name == "2026-01.html", nil
}

func TestNotes(t *testing.T) {
	w := newWard(t, func(o *Options) { o.Notes = shelf{} })
	doc := document(t, w.h, "/plants/ash/notes", http.StatusOK)
	checkPage(t, "notes", doc)
	assert.Contains(t, text(doc), "Thu 1 Jan to Wed 7 Jan 2026")
	assert.Contains(t, text(doc), "not sent to b@house.example: mailbox full")
	file := get(w.h, "/plants/ash/notes/2026-01.html")
	assert.Equal(t, http.StatusOK, file.Code)
	assert.Contains(t, file.Header().Get("Content-Security-Policy"), "sandbox")
	assert.NotContains(t, file.Header().Get("Content-Security-Policy"), "script")
	for _, name := range []string{"2026-02.html", "2026-01.exe", "..%2f..%2fcoldweek.yaml"} {
		assert.Equal(t, http.StatusNotFound, get(w.h, "/plants/ash/notes/"+name).Code, name)
	}
	assert.Contains(t, text(document(t, newWard(t, nil).h, "/plants/ash/notes", http.StatusOK)), "No note has been made")
}

// TestNotesAlone: who came for the notes of one plant is led nowhere else.
func TestNotesAlone(t *testing.T) {
	w := newWard(t, func(o *Options) {
		o.Notes, o.NotesOnly = shelf{}, func(*http.Request) bool { return true }
	})
	for _, a := range all(document(t, w.h, "/plants/ash/notes", http.StatusOK), "a") {
		href := attribute(a, "href")
		assert.True(t, strings.HasPrefix(href, "/plants/ash/notes/") || strings.HasPrefix(href, "#"), href)
	}
}
