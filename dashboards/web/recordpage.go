package web

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/goccy/go-yaml"

	"coldweek/ingest/site"
)

// recordBody is what is written down of a plant, and what that leaves open.
type recordBody struct {
	Head  plantHead
	Plate []fact
	Wrong []remarkLine // contradictions and doubts
	Open  []remarkLine // what is not given, and what it costs
	Text  string       // the record as it was understood
	File  string
	Cut   bool
}

// remarkLine is a remark on a record.
type remarkLine struct{ Field, Message, Fix string }

// mostRecord bounds the text on the page.
const mostRecord = 60_000

func (s *server) recordPage(r *http.Request) (*page, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	body := &recordBody{Plate: plate(record), File: "sites/" + record.ID + ".yaml"}
	if body.Head, err = s.plantHead(r, record, "record"); err != nil {
		return nil, err
	}
	for _, p := range site.Check(record) {
		l := remarkLine{p.Field, sentence(p.Message), sentence(p.Fix)}
		if missing, found := strings.CutPrefix(p.Message, "not given: "); found {
			l.Message = sentence(missing)
			body.Open = append(body.Open, l)
			continue
		}
		body.Wrong = append(body.Wrong, l)
	}
	// Written out of what was read, the text holds known keys only: no comment, and
	// nothing that somebody kept in one.
	text, err := yaml.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("write out record of site %q: %w", record.ID, err)
	}
	if body.Cut = len(text) > mostRecord; body.Cut {
		text = text[:mostRecord]
	}
	body.Text = strings.ToValidUTF8(string(text), "\uFFFD")
	return &page{Template: "record", Title: "Record, " + body.Head.Name, Body: body}, nil
}
