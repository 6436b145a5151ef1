package login

import (
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// form is the log-in page.
type form struct {
	Name  string
	Next  string
	Error string
	Note  string
}

const cookieDays = int(sessionLongest / (24 * time.Hour))

// sessionCookie is the name of the session's cookie. By __Host- browsers see to it
// that nobody but this host, over TLS, can have set it.
func (g *Gate) sessionCookie(r *http.Request) string {
	if g.origin(r).secure {
		return "__Host-coldweek"
	}
	return "coldweek"
}

// setSession gives the browser a token; an empty one takes it away.
func (g *Gate) setSession(w http.ResponseWriter, r *http.Request, t token) {
	cookie := &http.Cookie{
		Name: g.sessionCookie(r), Value: string(t), Path: "/", MaxAge: cookieDays * 24 * 60 * 60,
		Secure: g.origin(r).secure, HttpOnly: true, SameSite: http.SameSiteLaxMode,
	}
	if t == "" {
		cookie.MaxAge = -1
	}
	http.SetCookie(w, cookie)
}

// ask shows the log-in page.
func (g *Gate) ask(w http.ResponseWriter, r *http.Request) {
	next := onward(r.URL.Query().Get("next"))
	users, err := g.users()
	if err != nil {
		g.refuse(w, r, g.fault(r, err))
		return
	}
	if _, _, ok := g.loggedIn(r, users); ok || g.open.Load() {
		own(w.Header())
		http.Redirect(w, r, next, http.StatusSeeOther)
		return
	}
	f := form{Next: next}
	if r.URL.Query().Has("out") {
		f.Note = "You are logged out."
	}
	g.write(w, "login", http.StatusOK, f)
}

// maxLogin bounds the log-in form.
const maxLogin = 8 << 10

// logIn checks name and password, and begins a session.
func (g *Gate) logIn(w http.ResponseWriter, r *http.Request) {
	if err := g.sites.Check(r); err != nil {
		g.Logger.WarnContext(r.Context(), "log-in from another site refused", g.address(r))
		g.refuse(w, r, &fromElsewhere)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxLogin)
	if err := r.ParseForm(); err != nil {
		g.write(w, "login", http.StatusBadRequest, form{Error: "The form could not be read. Please try once more."})
		return
	}
	f := form{Name: strings.ToLower(strings.TrimSpace(r.PostForm.Get("name"))), Next: onward(r.PostForm.Get("next"))}
	if wait := g.wait(r, f.Name); wait > 0 {
		seconds := int(math.Ceil(wait.Seconds()))
		w.Header().Set("Retry-After", strconv.Itoa(seconds))
		f.Error = fmt.Sprintf("Too many tries. Wait %d seconds, then try once more.", seconds)
		g.write(w, "login", http.StatusTooManyRequests, f)
		return
	}
	user, right, err := g.Users.verify(r.Context(), f.Name, r.PostForm.Get("password"))
	switch {
	case err != nil:
		g.refuse(w, r, g.fault(r, err))
	case !right:
		g.Logger.WarnContext(r.Context(), "log-in refused", g.known(f.Name), g.address(r))
		f.Error = "Name or password is not right."
		g.write(w, "login", http.StatusForbidden, f)
	default:
		g.enter(w, r, user, f.Next)
	}
}

// wait says how long to wait before the next try. The address comes first: who
// may not try at all uses up nobody's name.
func (g *Gate) wait(r *http.Request, name string) time.Duration {
	now := g.Now()
	wait := g.byAddress.try(network(g.origin(r).address), now)
	if wait == 0 {
		wait = g.byName.try(name, now)
	}
	if wait > 0 {
		g.Logger.WarnContext(r.Context(), "log-in refused: too many tries", g.known(name), g.address(r))
	}
	return wait
}

// enter begins a session of its own for who gave the right password; one that the
// browser had before ends, so that nobody can have planted it.
func (g *Gate) enter(w http.ResponseWriter, r *http.Request, user User, next string) {
	user = g.renew(r, user)
	if cookie, err := r.Cookie(g.sessionCookie(r)); err == nil {
		g.end(r, token(cookie.Value))
	}
	t, err := g.sessions.begin(user, g.Now())
	if err != nil {
		g.Logger.ErrorContext(r.Context(), "sessions are not kept", "error", err)
	}
	g.Logger.InfoContext(r.Context(), "logged in", "user", user.Name, "role", string(user.Role), g.address(r))
	g.setSession(w, r, t)
	own(w.Header())
	http.Redirect(w, r, next, http.StatusSeeOther)
}

// renew keeps the password at today's cost. Should that fail, the next log-in
// will do.
func (g *Gate) renew(r *http.Request, user User) User {
	renewed, err := g.Users.renew(r.Context(), user, r.PostForm.Get("password"))
	switch {
	case errors.Is(err, errChanged):
		return user // the session ends with the next request
	case err != nil:
		g.Logger.ErrorContext(r.Context(), "a password is not kept at today's cost", "user", user.Name, "error", err)
		return user
	case renewed.Hash == user.Hash:
		return user
	}
	if err := g.sessions.carry(user, renewed); err != nil {
		g.Logger.ErrorContext(r.Context(), "sessions are not kept", "error", err)
	}
	g.Logger.InfoContext(r.Context(), "password kept at today's cost", "user", user.Name)
	return renewed
}

// logOut ends the session.
func (g *Gate) logOut(w http.ResponseWriter, r *http.Request) {
	users, err := g.users()
	if err != nil {
		g.refuse(w, r, g.fault(r, err))
		return
	}
	user, t, ok := g.loggedIn(r, users)
	if ok {
		if err := g.sites.Check(r); err != nil {
			g.refuse(w, r, &fromElsewhere)
			return
		}
		if refused := g.checkForm(w, r, t); refused != nil {
			g.refuse(w, r, refused)
			return
		}
		g.end(r, t)
		g.Logger.InfoContext(r.Context(), "logged out", "user", user.Name, g.address(r))
	}
	g.setSession(w, r, "")
	own(w.Header())
	http.Redirect(w, r, loginAddress+"?out", http.StatusSeeOther)
}

// known is a name for the log: what is no user's may be a password typed into the
// wrong field.
func (g *Gate) known(name string) slog.Attr {
	if g.Users.known(name) != nil {
		name = "(unknown)"
	}
	return slog.String("user", name)
}

func (g *Gate) address(r *http.Request) slog.Attr {
	return slog.String("address", g.origin(r).address.String())
}
