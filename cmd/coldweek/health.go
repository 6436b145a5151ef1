package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

// healthPatience is how long the service may take to answer.
const healthPatience = 5 * time.Second

func newHealth(a *app) *cobra.Command {
	var address string
	c := &cobra.Command{
		Use:   "health",
		Short: "Ask a running coldweek whether it is well",
		Long: `Ask a running coldweek whether it can keep readings, as a container's health
check does. Exits with 0 when it can, and with 1 when it does not answer or its
last commit failed. Without --url the address is web: listen: of coldweek.yaml.`,
		Example: "  coldweek health --home /var/lib/coldweek\n  coldweek health --url http://127.0.0.1:8137",
		Args:    args(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			if address == "" {
				var err error
				if address, err = a.pagesURL(); err != nil {
					return err
				}
			}
			return a.askHealth(c.Context(), address)
		},
	}
	c.Flags().StringVar(&address, "url", "", "address of the pages, such as http://127.0.0.1:8137")
	return c
}

// pagesURL is where this machine finds the pages of the deployment.
func (a *app) pagesURL() (string, error) {
	h, err := a.openHome()
	if err != nil {
		return "", err
	}
	c, err := h.parseConfig()
	if err != nil {
		return "", err
	}
	host, port, err := net.SplitHostPort(c.Web.Listen)
	if err != nil {
		return "", usagef("%s: web: listen: %w; write 127.0.0.1:8137", h.configPath(), err)
	}
	if port == "0" {
		return "", usagef("%s: web: listen: takes any free port; say which it is with --url", h.configPath())
	}
	return "http://" + net.JoinHostPort(reachable(host), port), nil
}

// reachable turns a host that stands for all of this machine's addresses into
// one of them.
func reachable(host string) string {
	ip := net.ParseIP(host)
	switch {
	case host == "" || ip != nil && ip.IsUnspecified() && ip.To4() != nil:
		return "127.0.0.1"
	case ip != nil && ip.IsUnspecified():
		return "::1"
	}
	return host
}

// webAddress reads the address of a web server, and says whether it is one.
func webAddress(text string) (*url.URL, bool) {
	u, err := url.Parse(text)
	return u, err == nil && u.Host != "" && (u.Scheme == "http" || u.Scheme == "https")
}

// askHealth prints the answer when it is good; any other is an error.
func (a *app) askHealth(ctx context.Context, address string) error {
	u, ok := webAddress(address)
	if !ok {
		return usagef("--url %q is no address of a web server; write http://127.0.0.1:8137", address)
	}
	ctx, cancel := context.WithTimeout(ctx, healthPatience)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, u.JoinPath("healthz").String(), nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return fmt.Errorf("ask for health: %w", err)
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(io.LimitReader(answer.Body, 4096))
	if err != nil {
		return fmt.Errorf("ask for health: %w", err)
	}
	switch answer.StatusCode {
	case http.StatusOK:
		fmt.Fprint(a.out, string(text))
		return nil
	case http.StatusServiceUnavailable:
		return fmt.Errorf("not well: %s", strings.TrimSpace(string(text)))
	}
	return fmt.Errorf("%s answers %s; is this the address of coldweek's pages?", u, answer.Status)
}
