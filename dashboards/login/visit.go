package login

import (
	"errors"
	"net/http"
	"time"
)

// linkCookie is the name of the cookie that a link leaves, by which its token
// stands in no further address.
func (g *Gate) linkCookie(r *http.Request) string {
	if g.origin(r).secure {
		return "__Secure-coldweek-notes"
	}
	return "coldweek-notes"
}

// follow opens a link: the browser keeps its token for the plant's notes, and is
// sent there.
func (g *Gate) follow(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet {
		w.Header().Set("Allow", http.MethodGet)
		g.message(w, &refusal{status: http.StatusMethodNotAllowed, Title: "Open this link in a browser"})
		return
	}
	text, now := r.PathValue("token"), g.Now()
	p, err := g.Links.check(text, now)
	if err != nil {
		g.refuse(w, r, g.closedLink(r, err))
		return
	}
	http.SetCookie(w, &http.Cookie{
		Name: g.linkCookie(r), Value: text, Path: notesPath(p.site), MaxAge: int(time.Unix(p.until, 0).Sub(now) / time.Second),
		Secure: g.origin(r).secure, HttpOnly: true, SameSite: http.SameSiteLaxMode,
	})
	g.Logger.InfoContext(r.Context(), "link opened", "site", p.site, g.address(r))
	own(w.Header())
	http.Redirect(w, r, notesPath(p.site), http.StatusSeeOther)
}

// visitor says whether a link that was opened before opens what is asked for.
func (g *Gate) visitor(r *http.Request) (identity, *refusal) {
	cookie, err := r.Cookie(g.linkCookie(r))
	if err != nil {
		return identity{}, &noLogin
	}
	p, err := g.Links.check(cookie.Value, g.Now())
	if err != nil {
		return identity{}, g.closedLink(r, err)
	}
	if !opensByLink(r.Method, r.URL, p.site) {
		return identity{}, &noLogin
	}
	return identity{byLink: true}, nil
}

// closedLink says kindly why a link opens nothing.
func (g *Gate) closedLink(r *http.Request, err error) *refusal {
	why := &refusal{status: http.StatusGone, Title: "This link no longer opens the notes", Back: loginAddress, BackName: "Log in with an account"}
	switch {
	case errors.Is(err, errLinkOver):
		why.Detail = "It was made for a time, which is over. Ask your heating engineer for a new one."
	case errors.Is(err, errLinkWithdrawn):
		why.Detail = "It was withdrawn. Ask your heating engineer for a new one."
	case errors.Is(err, errLinkWrong):
		why.status, why.Title = http.StatusForbidden, "This link is not complete"
		why.Detail = "A part of it is missing or different. Open it from the message it came in, or copy the whole of it; if that does not help, ask your heating engineer for a new one."
	default:
		return g.fault(r, err)
	}
	g.Logger.InfoContext(r.Context(), "link refused", "reason", err.Error(), g.address(r))
	return why
}
