package login

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"net/url"
	"sync/atomic"
	"time"
)

// Options are what a gate needs. All but Proxies and PagesURL must be given.
type Options struct {
	Users *Users
	Links *Links
	// SessionsPath is the file that sessions outlast a restart in.
	SessionsPath string
	// FormField is the field in which every form carries FormToken.
	FormField string
	Now       func() time.Time
	Logger    *slog.Logger

	// Open says that without users everybody who reaches the pages may see and
	// change them. It is for pages that only this machine reaches, or that ask for
	// a log-in before the gate.
	Open bool
	// AnyName lets open pages be asked for by any host name. Otherwise they answer
	// to localhost, addresses and the name in PagesURL, so that no page elsewhere
	// can read them through a visitor's browser.
	AnyName bool

	// Proxies are believed when they say who asks and whether by TLS.
	Proxies []netip.Prefix
	// PagesURL is where people find the pages, nil where it is not known.
	PagesURL *url.URL
}

func (o Options) check() error {
	switch {
	case o.Users == nil || o.Links == nil:
		return errors.New("login: no users or no links")
	case o.SessionsPath == "":
		return errors.New("login: no path of sessions")
	case o.FormField == "":
		return errors.New("login: no name of the forms' field")
	case o.Now == nil:
		return errors.New("login: no clock")
	case o.Logger == nil:
		return errors.New("login: no logger")
	}
	return nil
}

// ErrNoUsers says that nobody could log in, and the pages may not be open.
var ErrNoUsers = errors.New("there are no users")

// Gate lets people in. Its methods may be called from many goroutines.
type Gate struct {
	Options
	sessions  *sessions
	byName    *pace
	byAddress *pace
	sites     *http.CrossOriginProtection
	sheets    sheets
	open      atomic.Bool // once false, it stays so
	openToken token       // forms of open pages carry one made of it
}

// New returns a gate. It is ErrNoUsers when there are none and Open is not set,
// and an error when the users cannot be read.
func New(o Options) (*Gate, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	users, err := o.Users.read()
	if err != nil {
		return nil, err
	}
	if len(users.Users) == 0 && !o.Open {
		return nil, ErrNoUsers
	}
	g := &Gate{
		Options: o, byName: newPace(againByName, triesByName), byAddress: newPace(againByAddress, triesByAddress),
		sites: http.NewCrossOriginProtection(), openToken: newToken(),
	}
	g.open.Store(len(users.Users) == 0)
	if o.PagesURL != nil {
		if err := g.sites.AddTrustedOrigin(o.PagesURL.Scheme + "://" + o.PagesURL.Host); err != nil {
			return nil, fmt.Errorf("login: %w", err)
		}
	}
	if g.sessions, err = openSessions(o.SessionsPath); err != nil {
		o.Logger.Warn("sessions cannot be read and begin anew; everybody logs in again", "error", err)
	}
	if o.Users.Exposed() {
		o.Logger.Warn("the file of users may be read by others than its owner; chmod 600 it")
	}
	g.sheets, err = parseSheets()
	return g, err
}

// Open says whether the pages are open without users just now.
func (g *Gate) Open() bool {
	_, err := g.users()
	return err == nil && g.open.Load()
}

// users reads who may log in, and closes open pages as soon as there is somebody.
func (g *Gate) users() (list, error) {
	users, err := g.Users.read()
	if err == nil && len(users.Users) > 0 && g.open.CompareAndSwap(true, false) {
		g.Logger.Info("there are users now: pages ask for a log-in")
	}
	return users, err
}

// identity is who asks.
type identity struct {
	name      string
	mayChange bool
	byLink    bool
	token     token // of the session, or of open pages
}

type identityKey struct{}

func identityOf(r *http.Request) identity {
	who, _ := r.Context().Value(identityKey{}).(identity)
	return who
}

// Who names who asks, and says whether they may change things. The name is empty
// on open pages and for who came by a link.
func (g *Gate) Who(r *http.Request) (name string, mayChange bool) {
	who := identityOf(r)
	return who.name, who.mayChange
}

// ByLink says that who asks came by a link, and can see the notes of one plant
// only.
func (g *Gate) ByLink(r *http.Request) bool { return identityOf(r).byLink }

// FormToken returns what every form must carry in FormField; empty for who may
// send none.
func (g *Gate) FormToken(r *http.Request) string {
	if who := identityOf(r); who.token != "" {
		return who.token.formToken()
	}
	return ""
}

// Addresses of the gate's own.
const (
	loginAddress  = "/login"
	logoutAddress = "/logout"
	styleAddress  = "/login.css"
)

// Guard returns the pages behind the gate. What stands below /static/ is open to
// everybody: it is the same everywhere.
func (g *Gate) Guard(pages http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET "+loginAddress, g.ask)
	mux.HandleFunc("POST "+loginAddress, g.logIn)
	mux.HandleFunc("POST "+logoutAddress, g.logOut)
	mux.HandleFunc("GET "+styleAddress, serveStyle)
	mux.HandleFunc("GET "+linkAddress+"{token...}", g.follow)
	mux.Handle("GET /static/{name}", pages)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { g.admit(w, r, pages) })
	return mux
}

// longestAnswer ends what streams, so that who asks again is looked at again.
const longestAnswer = 15 * time.Minute

// admit serves a page to who may see it.
func (g *Gate) admit(w http.ResponseWriter, r *http.Request, pages http.Handler) {
	who, refused := g.identify(r)
	if refused == nil && !reads(r) {
		refused = g.mayPost(w, r, who)
	}
	if refused != nil {
		g.refuse(w, r, refused)
		return
	}
	if g.open.Load() {
		pages.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), identityKey{}, who)))
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), longestAnswer)
	defer cancel()
	ctx = context.WithValue(ctx, identityKey{}, who)
	pages.ServeHTTP(&stamping{ResponseWriter: w, byLink: who.byLink}, r.WithContext(ctx))
}

func reads(r *http.Request) bool { return r.Method == http.MethodGet || r.Method == http.MethodHead }

// identify says who asks, or why they are not let in.
func (g *Gate) identify(r *http.Request) (identity, *refusal) {
	users, err := g.users()
	if err != nil {
		return identity{}, g.fault(r, err)
	}
	if g.open.Load() {
		if !g.AnyName && !g.ownName(r) {
			return identity{}, &misnamed
		}
		return identity{mayChange: true, token: g.openToken}, nil
	}
	user, t, ok := g.loggedIn(r, users)
	if ok {
		return identity{name: user.Name, mayChange: user.Role == Engineer, token: t}, nil
	}
	return g.visitor(r)
}

// loggedIn returns whose session a request belongs to.
func (g *Gate) loggedIn(r *http.Request, users list) (User, token, bool) {
	cookie, err := r.Cookie(g.sessionCookie(r))
	if err != nil {
		return User{}, "", false
	}
	t := token(cookie.Value)
	one, ok, err := g.sessions.find(t, g.Now())
	if err != nil {
		g.Logger.ErrorContext(r.Context(), "sessions are not kept", "error", err)
	}
	if !ok {
		return User{}, "", false
	}
	user, exists := users.find(one.User)
	if !exists || sealOf(user) != one.Seal {
		g.Logger.InfoContext(r.Context(), "session ended by a changed password or user", "user", one.User)
		g.end(r, t)
		return User{}, "", false
	}
	return user, t, true
}

func (g *Gate) end(r *http.Request, t token) {
	if err := g.sessions.end(t); err != nil {
		g.Logger.ErrorContext(r.Context(), "sessions are not kept", "error", err)
	}
}

// maxBody bounds what a form may be, as the pages behind the gate do.
const maxBody = 64 << 10

// mayPost says why what would change something is refused.
func (g *Gate) mayPost(w http.ResponseWriter, r *http.Request, who identity) *refusal {
	if err := g.sites.Check(r); err != nil {
		g.Logger.WarnContext(r.Context(), "form from another site refused", "user", who.name, "path", r.URL.Path)
		return &fromElsewhere
	}
	if !who.mayChange {
		g.Logger.WarnContext(r.Context(), "change refused to a viewer", "user", who.name, "path", r.URL.Path)
		return &onlyLooks
	}
	return g.checkForm(w, r, who.token)
}

// checkForm reads a form and compares its token.
func (g *Gate) checkForm(w http.ResponseWriter, r *http.Request, t token) *refusal {
	r.Body = http.MaxBytesReader(w, r.Body, maxBody)
	if err := r.ParseForm(); err != nil {
		g.Logger.WarnContext(r.Context(), "form that could not be read refused", "path", r.URL.Path, "error", err)
		return &garbledForm
	}
	if !same(r.PostFormValue(g.FormField), t.formToken()) {
		g.Logger.WarnContext(r.Context(), "form without its token refused", "path", r.URL.Path)
		return &staleForm
	}
	return nil
}

// Machines guards what machines ask for, such as numbers for Prometheus. They
// have no log-in, so it answers to those that ask from this machine or a private
// network and through no proxy, and to who is logged in.
func (g *Gate) Machines(inner http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f := g.origin(r)
		near := (f.address.IsLoopback() || f.address.IsPrivate() || f.address.IsLinkLocalUnicast()) && !f.proxied
		who, refused := g.identify(r)
		if near || refused == nil && !who.byLink {
			inner.ServeHTTP(w, r)
			return
		}
		http.Error(w, "This is for machines of the same network, and for who is logged in.", http.StatusForbidden)
	})
}
