package web

import (
	"net/http"
	"time"
)

// plantFindingsBody is what was noticed at a plant in a year.
type plantFindingsBody struct {
	Head        plantHead
	Open, Muted []findingLine
	Ended       []findingLine
	More        int // that ended, beyond those listed
	InboxAt     string
}

// mostEnded bounds the list of what ended.
const mostEnded = 60

func (s *server) plantFindings(r *http.Request) (*page, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	head, err := s.plantHead(r, record, "findings")
	if err != nil {
		return nil, err
	}
	now := s.Now()
	found, err := s.noticedAt(r.Context(), record, now.Add(-inboxReach), now)
	if err != nil {
		return nil, err
	}
	body := &plantFindingsBody{Head: head, InboxAt: filter{State: "all", Site: record.ID}.address()}
	body.sort(found, now)
	return &page{Template: "findings", Title: "Findings, " + head.Name, Section: "findings", Live: head.LiveAt, Body: body}, nil
}

func (b *plantFindingsBody) sort(found []noticed, now time.Time) {
	for i := range found {
		n := &found[i]
		switch {
		case n.open():
			b.Open = append(b.Open, n.line(now))
		case !n.finding.Ended():
			b.Muted = append(b.Muted, n.line(now))
		case len(b.Ended) < mostEnded:
			b.Ended = append(b.Ended, n.line(now))
		default:
			b.More++
		}
	}
}
