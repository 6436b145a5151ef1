package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

func newServe(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "serve",
		Short: "Take in readings and show the pages, until stopped",
		Long: `Run the embedded broker or the subscriber, or both, as coldweek.yaml says, and
the pages. A message is acknowledged when its readings are on disk. Site records
that change are taken in without a restart. Stop it with an interrupt or SIGTERM:
what was accepted is committed first.`,
		Example: "  coldweek serve --home /var/lib/coldweek",
		Args:    args(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			return a.withHome(c.Context(), func(h home, st *stores) error {
				config, err := h.readConfig()
				if err != nil {
					return err
				}
				s, err := newService(c.Context(), h, config, st, a.logger(), nil)
				if err != nil {
					return err
				}
				if s.broker != nil {
					fmt.Fprintf(a.out, "MQTT   %s\n", s.broker.Addr())
				}
				fmt.Fprintf(a.out, "pages  %s\n", s.url())
				return s.run(c.Context())
			})
		},
	}
}
