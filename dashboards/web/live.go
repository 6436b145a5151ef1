package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	"coldweek/ingest/site"
)

const (
	// mostStreams is how many pages may be followed live at once; each costs a look
	// at its plants now and then.
	mostStreams = 100
	// liveEvery and fleetEvery are how often values are looked at for a stream.
	liveEvery, fleetEvery = 5 * time.Second, 15 * time.Second
	// beatEvery keeps connections open through proxies, and finds those that have
	// gone.
	beatEvery = 20 * time.Second
	// streamPatience bounds one write to a client that does not read.
	streamPatience = 10 * time.Second
)

// liveValues are what of a plant changes on an open page.
type liveValues struct {
	ID       string `json:"id"`
	State    string `json:"state"`
	Class    string `json:"class"`
	Since    string `json:"since"`
	Flow     string `json:"flow"`
	Outdoors string `json:"outdoors"`
	Power    string `json:"power"`
}

// live streams what one plant does.
func (s *server) live(w http.ResponseWriter, r *http.Request) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.stream(w, r, []*site.Record{record}, liveEvery)
}

// fleetLive streams what the plants of a sheet do.
func (s *server) fleetLive(w http.ResponseWriter, r *http.Request) {
	wanted := strings.Split(r.URL.Query().Get("plants"), ",")
	var records []*site.Record
	for _, id := range wanted[:min(len(wanted), sheetLines)] {
		if record, err := s.record(id); err == nil {
			records = append(records, record)
		}
	}
	if len(records) == 0 {
		s.fail(w, r, notFound("None of these plants is known"))
		return
	}
	s.stream(w, r, records, fleetEvery)
}

// stream sends what changed of plants, as server-sent events, until the reader or
// the server goes.
func (s *server) stream(w http.ResponseWriter, r *http.Request, records []*site.Record, every time.Duration) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		w.Header().Set("Retry-After", "60")
		http.Error(w, "Too many pages are followed live; load the page again instead.", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no")
	out := eventWriter{w, http.NewResponseController(w)}
	if r.Method == http.MethodHead || !out.send(": hello\nretry: 15000\n\n") {
		return
	}
	looking, beat := time.NewTicker(every), time.NewTicker(beatEvery)
	defer looking.Stop()
	defer beat.Stop()
	sent := map[string]liveValues{}
	for {
		if !s.sendChanged(&out, r, records, sent) {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-s.Closing:
			return
		case <-beat.C:
			if !out.send(": beat\n\n") {
				return
			}
		case <-looking.C:
		}
	}
}

// sendChanged sends the values that are not as they were sent, and says whether to
// go on. A plant that cannot be read keeps what it showed.
func (s *server) sendChanged(out *eventWriter, r *http.Request, records []*site.Record, sent map[string]liveValues) bool {
	for _, record := range records {
		seen, err := s.looks.close(r.Context(), record)
		if err != nil {
			if r.Context().Err() != nil {
				return false
			}
			continue
		}
		values := liveOf(record, seen, s.Now().In(record.Zone()))
		if sent[record.ID] == values {
			continue
		}
		text, err := json.Marshal(values)
		if err != nil || !out.send(fmt.Sprintf("event: now\ndata: %s\n\n", text)) {
			return false
		}
		sent[record.ID] = values
	}
	return true
}

func liveOf(record *site.Record, seen *look, now time.Time) liveValues {
	v := liveValues{ID: record.ID, Flow: celsius(seen.flowC).Value, Outdoors: celsius(seen.outdoorC).Value, Power: kilowatts(seen.powerW).Value}
	v.State, v.Class, v.Since = stateInWords(seen, now)
	return v
}

// eventWriter writes events at once.
type eventWriter struct {
	w       http.ResponseWriter
	control *http.ResponseController
}

// send says whether the reader is still there.
func (e *eventWriter) send(event string) bool {
	// Where deadlines cannot be set, the connection's own end has to do.
	_ = e.control.SetWriteDeadline(time.Now().Add(streamPatience))
	if _, err := e.w.Write([]byte(event)); err != nil {
		return false
	}
	return e.control.Flush() == nil
}
