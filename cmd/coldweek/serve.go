package main

import (
	"errors"
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
		RunE: func(c *cobra.Command, _ []string) (err error) {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			config, err := h.readConfig()
			if err != nil {
				return err
			}
			st, err := a.openStore(c.Context(), h)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, st.Close()) }()
			s, err := newService(c.Context(), h, config, st, a.logger(), nil)
			if err != nil {
				return err
			}
			if s.broker != nil {
				fmt.Fprintf(a.out, "MQTT   %s\n", s.broker.Addr())
			}
			fmt.Fprintf(a.out, "pages  %s\n", s.url())
			return s.run(c.Context())
		},
	}
}
