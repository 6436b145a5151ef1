package web

import (
	"context"
	"net/http"
	"time"

	"coldweek/ingest/site"
)

// monthBody is what waits and what was issued for a month, over all plants.
type monthBody struct {
	Month          string
	Earlier, Later string // addresses
	Drafts         []draftLine
	Notes          []noteLine
	NoMail         bool
}

// monthNotes lists the notes of all plants for a month; last month's without being
// asked.
func (s *server) monthNotes(r *http.Request) (*page, error) {
	if s.notesOnly(r) {
		return nil, notFound("There is no such page")
	}
	month := s.Now().UTC()
	month = time.Date(month.Year(), month.Month()-1, 1, 0, 0, 0, 0, time.UTC)
	if asked := r.URL.Query().Get("month"); asked != "" {
		var ok bool
		if month, ok = monthIn(asked); !ok {
			return nil, &refusal{
				Status: http.StatusBadRequest, Title: "This is no month", Detail: "Write it as 2026-01.", Back: "/notes", BackName: "Notes of last month",
			}
		}
	}
	step := func(n int) string { return "/notes?month=" + month.AddDate(0, n, 0).Format(monthInAddress) }
	body := &monthBody{Month: month.Format(monthInWords), Earlier: step(-1), NoMail: s.Drafts != nil && !s.Drafts.Mails()}
	if month.AddDate(0, 2, 0).Before(s.Now()) {
		body.Later = step(1)
	}
	for _, record := range s.Sites() {
		if err := s.addMonth(r.Context(), body, record, month.Format(monthInAddress)); err != nil {
			return nil, err
		}
	}
	return &page{Template: "month", Title: "Notes for " + body.Month, Section: "notes", Body: body}, nil
}

func (s *server) addMonth(ctx context.Context, body *monthBody, record *site.Record, month string) error {
	drafts, err := s.draftsOf(ctx, record)
	if err != nil {
		return err
	}
	for i := range drafts {
		if drafts[i].Month == month {
			body.Drafts = append(body.Drafts, draftLineOf(&drafts[i], record))
		}
	}
	kept, err := s.notesOf(ctx, record)
	if err != nil {
		return err
	}
	for i := range kept {
		if kept[i].From.In(record.Zone()).Format(monthInAddress) == month {
			body.Notes = append(body.Notes, noteLineOf(&kept[i], record, false))
		}
	}
	return nil
}
