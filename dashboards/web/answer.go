package web

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"

	"github.com/klauspost/compress/gzhttp"
)

// page is what a handler answers: data for the template of a name, or where to
// go on.
type page struct {
	Template string
	Title    string
	Status   int // 200 when 0
	Body     any

	Section string // of the masthead that the page belongs to
	Live    string // address of the page's live values; none when empty
	Again   bool   // the page is not what was asked for yet, and comes again by itself
	Onward  string // address that is answered instead of a page, after a form
}

// sheet is what a template is given: the page and what surrounds it.
type sheet struct {
	*page
	Notice                   string
	User                     string // who asks; "" without accounts
	Form                     form   // for logging out
	Apart                    bool   // the page leads to no other
	Stylesheet, Script, Icon string // addresses
}

// refusal is an answer to a request that cannot be served as it is, with what
// would be right. It is for the asker to read.
type refusal struct {
	Status   int
	Title    string
	Detail   string
	Back     string // address of a page that helps
	BackName string
}

// Error returns title and detail.
func (r *refusal) Error() string { return r.Title + ": " + r.Detail }

func notFound(format string, args ...any) *refusal {
	return &refusal{
		Status: http.StatusNotFound, Title: fmt.Sprintf(format, args...),
		Detail: "Check the address, or look for the plant in the list.", Back: "/", BackName: "All plants",
	}
}

func (s *server) nothing(*http.Request) (*page, error) {
	return nil, notFound("There is no such page")
}

// page serves what a maker returns.
func (s *server) page(maker func(*http.Request) (*page, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p, err := maker(r)
		switch {
		case err == nil && p.Onward != "":
			http.Redirect(w, r, p.Onward, http.StatusSeeOther)
		case err == nil:
			err = s.render(w, r, p)
		}
		if err != nil {
			s.fail(w, r, err)
		}
	})
}

// drawing serves the picture a maker returns.
func (s *server) drawing(maker func(*http.Request) ([]byte, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		svg, err := maker(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		write(w, http.StatusOK, "image/svg+xml", svg)
	})
}

// render fills the template completely before the first byte is sent, so that
// an error is never half a page.
func (s *server) render(w http.ResponseWriter, r *http.Request, p *page) error {
	t, ok := s.templates[p.Template]
	if !ok {
		return fmt.Errorf("render %q: there is no such template", p.Template)
	}
	var text bytes.Buffer
	user, _ := s.asker(r)
	around := sheet{p, s.Notice(), user, s.formFor(r), s.notesOnly(r), s.assets.address("coldweek.css"), s.assets.address("coldweek.js"), s.assets.address("icon.svg")}
	if err := t.ExecuteTemplate(&text, "frame", around); err != nil {
		return fmt.Errorf("render %q: %w", p.Template, err)
	}
	status := p.Status
	if status == 0 {
		status = http.StatusOK
	}
	write(w, status, "text/html; charset=utf-8", text.Bytes())
	return nil
}

func write(w http.ResponseWriter, status int, contentType string, body []byte) {
	w.Header().Set("Content-Type", contentType)
	w.Header().Set("Cache-Control", "no-cache")
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	// An error here means that the asker has gone.
	_, _ = w.Write(body)
}

// fail answers an error: a refusal as it is, anything else without its reason,
// which goes to the log.
func (s *server) fail(w http.ResponseWriter, r *http.Request, err error) {
	var refused *refusal
	again := errors.Is(err, errNotYet)
	if again {
		refused = &refusal{
			Status: http.StatusOK, Title: "Putting the days together",
			Detail: "This may take some seconds the first time. The page comes by itself.", Back: r.URL.RequestURI(), BackName: "Look again",
		}
	} else if !errors.As(err, &refused) {
		if r.Context().Err() != nil {
			return // nobody is waiting any more
		}
		s.Logger.LogAttrs(r.Context(), slog.LevelError, "make page", slog.String("path", r.URL.Path), slog.Any("error", err))
		refused = &refusal{
			Status: http.StatusInternalServerError, Title: "This page could not be made",
			Detail: "The fault is on this side. Its reason is in the log of the program.", Back: "/", BackName: "All plants",
		}
	}
	p := &page{Template: "message", Title: refused.Title, Status: refused.Status, Body: refused, Again: again}
	if err := s.render(w, r, p); err != nil {
		s.Logger.LogAttrs(r.Context(), slog.LevelError, "make message", slog.Any("error", err))
		http.Error(w, refused.Title, refused.Status)
	}
}

// securityPolicy forbids everything that is not ours, inline code and style
// included.
const securityPolicy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"

// guarded is all pages with what holds for every answer.
func (s *server) guarded() http.Handler { return s.guard(s.mux) }

// guard wraps every answer: headers, methods, where forms may come from, and
// what happens when our code panics. Streams are not packed, so that each event
// leaves at once.
func (s *server) guard(inner *http.ServeMux) http.Handler {
	packed := gzhttp.GzipHandler(inner)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", securityPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		_, pattern := inner.Handler(r)
		if err := s.admit(r, pattern); err != nil {
			if err.Status == http.StatusMethodNotAllowed {
				h.Set("Allow", "GET, HEAD")
			}
			s.fail(w, r, err)
			return
		}
		defer func() {
			if reason := recover(); reason != nil {
				s.fail(w, r, fmt.Errorf("panic: %v\n%s", reason, debug.Stack()))
			}
		}()
		if strings.HasSuffix(pattern, "/live") {
			inner.ServeHTTP(w, r)
			return
		}
		packed.ServeHTTP(w, r)
	})
}
