package main

import (
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// refusal is a quarantined message in JSON.
type refusal struct {
	Arrived time.Time     `json:"arrived"`
	Site    string        `json:"site,omitempty"`
	Topic   string        `json:"topic"`
	Reason  ingest.Reason `json:"reason"`
	Detail  string        `json:"detail"`
	Payload string        `json:"payload"`
}

func newQuarantine(a *app) *cobra.Command {
	var limit int
	var asJSON bool
	c := &cobra.Command{
		Use:     "quarantine",
		Short:   "Show what could not become a reading, and why",
		Example: "  coldweek quarantine --limit 20",
		Args:    args(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			return a.withHome(c.Context(), func(_ home, st *stores) error {
				refusals, err := st.Refusals(c.Context(), limit)
				if err != nil {
					return err
				}
				counts, err := st.RefusalCounts(c.Context())
				if err != nil {
					return err
				}
				if asJSON {
					return writeJSON(a.out, map[string]any{"counts": countsJSON(counts), "refusals": refusalsJSON(refusals)})
				}
				return a.writeRefusals(refusals, counts)
			})
		},
	}
	c.Flags().IntVar(&limit, "limit", 20, "how many of the newest to show")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

func refusalsJSON(refusals []store.Refused) []refusal {
	list := []refusal{}
	for _, r := range refusals {
		list = append(list, refusal{r.Arrived, r.Site, r.Topic, r.Reason, r.Detail, strings.ToValidUTF8(string(r.Payload), "\uFFFD")})
	}
	return list
}

func countsJSON(counts []store.QuarantineCount) map[ingest.Reason]int64 {
	byReason := map[ingest.Reason]int64{}
	for _, c := range counts {
		byReason[c.Reason] = c.Total
	}
	return byReason
}

func (a *app) writeRefusals(refusals []store.Refused, counts []store.QuarantineCount) error {
	if len(counts) == 0 {
		fmt.Fprintln(a.out, "nothing was refused")
		return nil
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "reason\tever\tkept")
	for _, c := range counts {
		fmt.Fprintf(w, "%s\t%d\t%d\n", c.Reason, c.Total, c.Kept)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "arrived\treason\ttopic\tdetail\tpayload")
	for _, r := range refusals {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", r.Arrived.Format(time.RFC3339), r.Reason, r.Topic, r.Detail, excerpt(r.Payload))
	}
	return w.Flush()
}

// excerpt shows the beginning of a payload, safely for a terminal.
func excerpt(payload []byte) string {
	const most = 60
	if len(payload) > most {
		return fmt.Sprintf("%q…", payload[:most])
	}
	return fmt.Sprintf("%q", payload)
}
