package web

import (
	"net/http"
	"net/url"
	"slices"

	"coldweek/ingest/site"
)

// plantHead is what stands over every page of a plant.
type plantHead struct {
	ID, Name string
	Sections []sectionLink

	State, StateClass, Since string
	Flow, Outdoors, Power    quantity
	NoData                   bool
	found                    []noticed // what lasts now, the worst first
	// LiveAt is the address of what is in the head as it changes.
	LiveAt string
}

// sectionLink leads to a page of the plant.
type sectionLink struct {
	Name, Address string
	Here          bool
	Count         int // of what is open there
}

func (s *server) notesOnly(r *http.Request) bool { return s.NotesOnly != nil && s.NotesOnly(r) }

// section is a page of a plant.
type section struct{ step, name string }

// sections are the pages of a plant in the order in which a reader asks.
var sections = []section{
	{"", "Now"}, {"findings", "Findings"}, {"review", "Cold week"}, {"energy", "Energy"}, {"house", "House and curve"}, {"running", "Running"},
	{"hydraulics", "Hydraulics"}, {"hot-water", "Hot water"}, {"sensors", "Sensors"}, {"notes", "Notes"}, {"record", "Record"}, {"visit", "Visit"},
}

func (s section) address(id string) string {
	if s.step == "" {
		return plantAddress(id)
	}
	return plantAddress(id) + "/" + s.step
}

// servedSections leaves out what no route serves.
func servedSections(mux *http.ServeMux) []section {
	return slices.DeleteFunc(slices.Clone(sections), func(sec section) bool {
		_, pattern := mux.Handler(&http.Request{Method: http.MethodGet, URL: &url.URL{Path: sec.address("plant")}})
		return pattern == "/" || pattern == ""
	})
}

// plantHead makes the head of the page of a step.
func (s *server) plantHead(r *http.Request, record *site.Record, here string) (plantHead, error) {
	now := s.Now().In(record.Zone())
	head := plantHead{ID: record.ID, Name: nameOf(record), LiveAt: plantAddress(record.ID) + "/live"}
	if s.notesOnly(r) {
		head.NoData = true // says nothing of now, and leads nowhere
		return head, nil
	}
	var err error
	if head.found, err = s.noticedAt(r.Context(), record, now, now); err != nil {
		return head, err
	}
	for _, sec := range s.sections {
		link := sectionLink{Name: sec.name, Address: sec.address(record.ID), Here: sec.step == here}
		if sec.step == "findings" {
			for i := range head.found {
				if head.found[i].open() {
					link.Count++
				}
			}
		}
		head.Sections = append(head.Sections, link)
	}
	seen, err := s.looks.close(r.Context(), record)
	if err != nil {
		return head, err
	}
	head.NoData = seen.lastSeen.IsZero()
	head.State, head.StateClass, head.Since = stateInWords(seen, now)
	head.Flow, head.Outdoors, head.Power = celsius(seen.flowC), celsius(seen.outdoorC), kilowatts(seen.powerW)
	return head, nil
}
