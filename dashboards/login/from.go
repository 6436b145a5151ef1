package login

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
)

// ParseProxies reads the addresses of proxies: single ones or networks, such as
// 127.0.0.1 or 10.0.0.0/8.
func ParseProxies(words []string) ([]netip.Prefix, error) {
	var proxies []netip.Prefix
	for _, word := range words {
		if one, err := netip.ParseAddr(word); err == nil {
			proxies = append(proxies, netip.PrefixFrom(one.Unmap(), one.Unmap().BitLen()))
			continue
		}
		many, err := netip.ParsePrefix(word)
		if err != nil {
			return nil, fmt.Errorf("%q is no address of a proxy; write 127.0.0.1, or a network such as 172.16.0.0/12", word)
		}
		proxies = append(proxies, many.Masked())
	}
	return proxies, nil
}

// from is where a request comes from.
type from struct {
	address netip.Addr // of the asker, as far as can be known
	secure  bool       // TLS all the way, or up to a trusted proxy
	proxied bool       // it came through some proxy, trusted or not
}

// origin looks where a request comes from. What a proxy says counts only when the
// proxy is trusted, and only its own word: the last address and the last scheme.
func (g *Gate) origin(r *http.Request) from {
	f := from{address: peer(r), secure: r.TLS != nil}
	chain := last(r.Header.Values("X-Forwarded-For"))
	f.proxied = chain != "" || r.Header.Get("Forwarded") != "" || r.Header.Get("X-Forwarded-Proto") != ""
	if !g.trusts(f.address) {
		return f
	}
	if address, err := netip.ParseAddr(chain); err == nil {
		f.address = address.Unmap()
	}
	f.secure = f.secure || strings.EqualFold(last(r.Header.Values("X-Forwarded-Proto")), "https")
	return f
}

func (g *Gate) trusts(address netip.Addr) bool {
	for _, proxy := range g.Proxies {
		if proxy.Contains(address) {
			return true
		}
	}
	return false
}

// last is the last entry of a list in headers: what the nearest proxy added.
func last(values []string) string {
	if len(values) == 0 {
		return ""
	}
	entries := strings.Split(values[len(values)-1], ",")
	return strings.TrimSpace(entries[len(entries)-1])
}

// peer is the address at the other end of the connection.
func peer(r *http.Request) netip.Addr {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return at.Addr().Unmap().WithZone("")
}

// ownName says whether a request was made to this machine by a name that no one
// else can have. A page elsewhere whose name was made to lead here (DNS
// rebinding) asks by its own.
func (g *Gate) ownName(r *http.Request) bool {
	host := r.Host
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	_, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return err == nil || host == "localhost" || g.PagesURL != nil && strings.EqualFold(host, g.PagesURL.Hostname())
}

// onward returns where to go after logging in: an address of ours, or the first
// page. Browsers take a backslash for a slash and leave out tabs and line ends,
// so nothing of that passes.
func onward(next string) string {
	const first = "/"
	u, err := url.Parse(next)
	switch {
	case err != nil || u.IsAbs() || u.Host != "" || u.User != nil || u.Opaque != "":
		return first
	case !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//"):
		return first
	case strings.ContainsFunc(next, func(c rune) bool { return c <= ' ' || c == '\\' || c >= 0x7f }):
		return first
	case u.Path == loginAddress || u.Path == logoutAddress || strings.HasPrefix(u.Path, "//") || strings.HasPrefix(u.Path, linkAddress):
		return first
	}
	return u.EscapedPath() + question(u.RawQuery)
}

func question(query string) string {
	if query == "" {
		return ""
	}
	return "?" + query
}
