package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"coldweek/analysis/job"
	"coldweek/analysis/robust"
)

// writeHeatLoss says what the house loses, and holds it against its design.
func writeHeatLoss(out io.Writer, r *job.Result) {
	loss := r.Loss
	fmt.Fprintf(out, "Heat loss: %s; %s\n", loss.Verdict, loss.Why)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	if loss.LossWPerK != nil {
		fmt.Fprintf(w, "  the house loses\t%s W/K, by the %s\n", within(loss.LossWPerK, 1, 0), loss.Method)
	}
	if loss.GrossW != nil {
		fmt.Fprintf(w, "  at design\t%s kW with rooms of %.1f °C and no gains", within(loss.GrossW, 1000, 1), loss.RoomC)
		if design := r.HeatLoss.DesignKW; design != nil {
			fmt.Fprintf(w, "; the design has %.1f kW", *design)
		}
		fmt.Fprintln(w)
	}
	if loss.NetW != nil {
		fmt.Fprintf(w, "  plant must give there\t%s kW, with gains as they were\n", within(loss.NetW, 1000, 1))
	}
	if loss.BaseC != nil {
		fmt.Fprintf(w, "  no heat needed from\t%s °C outdoors\n", within(loss.BaseC, 1, 1))
	}
	w.Flush()
	for _, warning := range loss.Warnings {
		fmt.Fprintln(out, "  Mind:", warning)
	}
	fmt.Fprintln(out)
}

// within prints an estimate in a unit so many times larger.
func within(e *robust.Estimate, times float64, decimals int) string {
	return fmt.Sprintf("%.*f (%.*f to %.*f)", decimals, e.Value/times, decimals, e.Low/times, decimals, e.High/times)
}
