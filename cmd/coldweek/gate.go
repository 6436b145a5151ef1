package main

import (
	"errors"
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"time"

	"coldweek/dashboards/login"
	"coldweek/dashboards/web"
)

// openGate says who may see the pages. It is an error when anybody could who
// reaches this machine.
func (s *service) openGate() (*login.Gate, error) {
	c := s.config.Web
	proxies, err := login.ParseProxies(c.TrustedProxies)
	if err != nil {
		return nil, err
	}
	beyond := len(proxies) > 0 || !loopbackOnly(c.Listen)
	gate, err := login.New(login.Options{
		Users: login.NewUsers(s.home.usersPath()), Links: login.NewLinks(s.home.dataDir()),
		SessionsPath: filepath.Join(s.home.dataDir(), "sessions.json"), FormField: web.FormTokenField,
		Open: !beyond || c.OpenWithoutUsers, AnyName: c.OpenWithoutUsers && len(proxies) > 0,
		Proxies: proxies, PagesURL: s.config.publicURL(), Now: time.Now, Logger: s.logger,
	})
	if errors.Is(err, login.ErrNoUsers) {
		return nil, usagef(`the pages are reached from beyond this machine (web: listen: %s in %s), and there are no users: anybody could see and change everything. Do one of these:
  coldweek user add NAME --role engineer --home %s
  listen on this machine only: web: listen: %s, without trusted_proxies
  if a proxy before coldweek asks for a log-in already: web: open_without_users: true`,
			c.Listen, s.home.configPath(), s.home.dir, defaultWebListen)
	}
	if err != nil {
		return nil, err
	}
	switch {
	case gate.Open():
		s.logger.Info("there are no users: the pages are open to who reaches them; see coldweek user --help", "listen", c.Listen)
	case !loopbackOnly(c.Listen) && len(proxies) == 0:
		s.logger.Warn("passwords reach the pages unencrypted; put a proxy with TLS before them and list it under web: trusted_proxies:", "listen", c.Listen)
	}
	return gate, nil
}

// loopbackOnly says whether only this machine can reach what listens at an
// address.
func loopbackOnly(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

// publicURL is where people find the pages, nil when it is not said.
func (c config) publicURL() *url.URL {
	if c.Notify == nil || c.Notify.PagesURL == "" {
		return nil
	}
	u, ok := webAddress(c.Notify.PagesURL)
	if !ok {
		return nil // told of where notify is read
	}
	return u
}
