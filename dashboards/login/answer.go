package login

import (
	"bytes"
	"crypto/subtle"
	"embed"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed style.css
var style []byte

// sheets are the gate's own pages by name.
type sheets map[string]*template.Template

func parseSheets() (sheets, error) {
	all := sheets{}
	for _, name := range []string{"login", "message"} {
		t, err := template.ParseFS(templateFiles, "templates/frame.html", "templates/"+name+".html")
		if err != nil {
			return nil, err
		}
		all[name] = t
	}
	return all, nil
}

// refusal is why somebody is not let in, for them to read.
type refusal struct {
	status         int
	Title, Detail  string
	Back, BackName string
	login          bool // a log-in would help
}

var (
	misnamed = refusal{
		status: http.StatusMisdirectedRequest, Title: "These pages do not answer to that name",
		Detail: "There are no users, so the pages are open on this machine only: open them by localhost or an address such as 127.0.0.1. " +
			"To open them from elsewhere, add a user: coldweek user add NAME --role engineer. " +
			"If a proxy before them asks for a log-in, name it under web: trusted_proxies.",
	}
	fromElsewhere = refusal{
		status: http.StatusForbidden, Title: "This form came from another site",
		Detail: "Nothing was changed. Fill it in on the page of the plant itself.", Back: "/", BackName: "All plants",
	}
	onlyLooks = refusal{
		status: http.StatusForbidden, Title: "You can look, but not change",
		Detail: "Nothing was changed. Your account is a viewer's; changes are made by engineers.", Back: "/", BackName: "All plants",
	}
	staleForm = refusal{
		status: http.StatusForbidden, Title: "This form is no longer good",
		Detail: "Nothing was changed. The page is from before you last logged in, or from before a restart: go back, load it again, and send it once more.",
		Back:   "/", BackName: "All plants",
	}
	garbledForm = refusal{
		status: http.StatusBadRequest, Title: "The form could not be read",
		Detail: "Nothing was changed. It is longer than 64 kB, or was cut off on the way: go back, and send it again.", Back: "/", BackName: "All plants",
	}
	noLogin    = refusal{status: http.StatusSeeOther, Title: "Please log in", login: true}
	unreadable = refusal{
		status: http.StatusServiceUnavailable, Title: "Nobody can be let in just now",
		Detail: "Who may log in cannot be read. The reason is in the log of the program.",
	}
)

// fault is a refusal for a reason on this side, which goes to the log.
func (g *Gate) fault(r *http.Request, err error) *refusal {
	if r.Context().Err() == nil {
		g.Logger.ErrorContext(r.Context(), "nobody is let in", "error", err)
	}
	return &unreadable
}

// refuse answers who is not let in: with the way to the log-in where that helps.
func (g *Gate) refuse(w http.ResponseWriter, r *http.Request, why *refusal) {
	switch {
	case !why.login:
		g.message(w, why)
	case reads(r):
		own(w.Header())
		http.Redirect(w, r, loginAddress+"?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
	default:
		g.message(w, &refusal{
			status: http.StatusForbidden, Title: "You are not logged in",
			Detail: "Nothing was changed. Log in, go back to the page, load it again, and send the form once more.",
			Back:   loginAddress, BackName: "Log in",
		})
	}
}

func (g *Gate) message(w http.ResponseWriter, why *refusal) { g.write(w, "message", why.status, why) }

// write answers with a page of ours, complete before its first byte is sent.
func (g *Gate) write(w http.ResponseWriter, sheet string, status int, body any) {
	var text bytes.Buffer
	if err := g.sheets[sheet].ExecuteTemplate(&text, "frame", body); err != nil {
		g.Logger.Error("make page of the log-in", "error", err)
		http.Error(w, "This page could not be made; the reason is in the log.", http.StatusInternalServerError)
		return
	}
	own(w.Header())
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(text.Len()))
	w.WriteHeader(status)
	// An error here means that the asker has gone.
	_, _ = w.Write(text.Bytes())
}

// own sets the headers of the gate's own answers.
func own(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}

func serveStyle(w http.ResponseWriter, _ *http.Request) {
	own(w.Header())
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	_, _ = w.Write(style)
}

// stamping keeps pages that somebody had to be let in for out of shared caches;
// those seen by a link, out of all, and their address away from other sites.
type stamping struct {
	http.ResponseWriter
	byLink, stamped bool
}

func (s *stamping) stamp() {
	if s.stamped {
		return
	}
	s.stamped = true
	h := s.Header()
	h.Add("Vary", "Cookie")
	if h.Get("Cache-Control") != "no-store" {
		h.Set("Cache-Control", "private, no-cache")
	}
	if s.byLink {
		h.Set("Cache-Control", "no-store")
		h.Set("Referrer-Policy", "no-referrer")
	}
}

// WriteHeader sends the headers.
func (s *stamping) WriteHeader(status int) {
	s.stamp()
	s.ResponseWriter.WriteHeader(status)
}

// Write sends a part of the body.
func (s *stamping) Write(b []byte) (int, error) {
	s.stamp()
	return s.ResponseWriter.Write(b)
}

// Flush sends what waits, for pages that stream.
func (s *stamping) Flush() {
	s.stamp()
	// An error means that the writer below cannot, as without us.
	_ = http.NewResponseController(s.ResponseWriter).Flush()
}

// Unwrap is for http.ResponseController.
func (s *stamping) Unwrap() http.ResponseWriter { return s.ResponseWriter }

// same compares in a time that says nothing of where they differ.
func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
