package main

import (
	"fmt"
	"net/url"
	"time"

	"github.com/spf13/cobra"

	"coldweek/dashboards/login"
)

// linkDays is how long a link holds unless told otherwise.
const linkDays = 90

func newLink(a *app) *cobra.Command {
	var days int
	var address string
	var revoke bool
	c := &cobra.Command{
		Use:   "link SITE",
		Short: "Make a link by which a homeowner sees the notes of their plant",
		Long: `Print a link that opens the performance notes of one plant, and nothing else,
without an account. It holds for some days, and until --revoke ends all links
of the plant. Whoever has it can use it, so send it to the homeowner alone.

Links begin with notify: pages_url: of coldweek.yaml, or --url.`,
		Example: `  coldweek link mill-cottage --days 30 --url https://coldweek.firm.example
  coldweek link --revoke mill-cottage`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			if revoke {
				return a.revokeLinks(h, given[0])
			}
			return a.makeLink(h, given[0], days, address)
		},
	}
	c.Flags().IntVar(&days, "days", linkDays, "how long it holds")
	c.Flags().StringVar(&address, "url", "", "where homeowners find the pages, such as https://coldweek.firm.example")
	c.Flags().BoolVar(&revoke, "revoke", false, "end all links of the plant instead, at once")
	return c
}

func (a *app) makeLink(h home, site string, days int, address string) error {
	if _, err := h.record(site); err != nil {
		return err
	}
	if days < 1 {
		return usagef("--days %d: a link holds for at least 1 day", days)
	}
	base, local, err := a.linkBase(h, address)
	if err != nil {
		return err
	}
	now := time.Now()
	until := now.AddDate(0, 0, days)
	link, err := login.NewLinks(h.dataDir()).New(base, site, now, until)
	if err != nil {
		return usageError{err}
	}
	fmt.Fprintln(a.out, link)
	fmt.Fprintf(a.err, "It opens the notes of %s until %s, for whoever has it.\n", site, until.Format("2 January 2006"))
	if local {
		fmt.Fprintln(a.err, "It leads to this machine only: say where homeowners find the pages with --url, or notify: pages_url: in coldweek.yaml.")
	}
	return nil
}

// linkBase is where links lead; local says that only this machine finds it.
func (a *app) linkBase(h home, address string) (base *url.URL, local bool, err error) {
	if address == "" {
		c, err := h.parseConfig()
		if err != nil {
			return nil, false, err
		}
		if base = c.publicURL(); base != nil {
			return base, false, nil
		}
		local = true
		if address, err = a.pagesURL(); err != nil {
			return nil, false, err
		}
	}
	base, ok := webAddress(address)
	if !ok {
		return nil, false, usagef("--url %q is no address of a web server; write https://coldweek.firm.example", address)
	}
	return base, local, nil
}

// revokeLinks ends a plant's links. Its record may be gone already.
func (a *app) revokeLinks(h home, site string) error {
	if err := login.NewLinks(h.dataDir()).Withdraw(site); err != nil {
		return usageError{err}
	}
	fmt.Fprintf(a.out, "all links to the notes of %s are ended; new ones can be made\n", site)
	return nil
}
