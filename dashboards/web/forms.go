package web

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// maxForm bounds what a form may hold.
const maxForm = 64 << 10

// asker names who asks, and says whether they may change things.
func (s *server) asker(r *http.Request) (name string, mayChange bool) {
	if s.Who != nil {
		return s.Who(r)
	}
	return "", s.Loopback && hereOnly(r.Host)
}

// hereOnly says whether a request was made to a name of this machine. A page
// elsewhere whose name was made to lead here (DNS rebinding) asks by its own.
func hereOnly(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	ip, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return host == "localhost" || err == nil && ip.IsLoopback()
}

// admit says why a request is not served at all, nil when it is.
func (s *server) admit(r *http.Request, pattern string) *refusal {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return nil
	}
	if !strings.HasPrefix(pattern, r.Method+" ") {
		return &refusal{
			Status: http.StatusMethodNotAllowed, Title: "Pages can only be read",
			Detail: "Use GET or HEAD.", Back: "/", BackName: "All plants",
		}
	}
	if err := http.NewCrossOriginProtection().Check(r); err != nil {
		return &refusal{
			Status: http.StatusForbidden, Title: "This form came from another site",
			Detail: "Nothing was changed. Fill it in on the page of the plant itself.", Back: "/", BackName: "All plants",
		}
	}
	return nil
}

// form is what a form on a page needs: the token it carries, and whether it is
// there at all.
type form struct {
	Token     string
	May       bool
	NeedsName bool // nobody knows who asks, so the form asks for a name
}

// TokenField is the name of the hidden field.
func (form) TokenField() string { return FormTokenField }

func (s *server) formFor(r *http.Request) form {
	name, may := s.asker(r)
	f := form{May: may, NeedsName: name == ""}
	if s.FormToken != nil {
		f.Token = s.FormToken(r)
	}
	return f
}

// readForm reads what was sent by who may change things.
func (s *server) readForm(r *http.Request, back, backName string) (by string, err error) {
	name, may := s.asker(r)
	if !may {
		return "", &refusal{
			Status: http.StatusForbidden, Title: "You can look, but not change",
			Detail: "Changes are made by engineers who are logged in or, where there are no accounts, on the machine that coldweek runs on.",
			Back:   back, BackName: backName,
		}
	}
	r.Body = http.MaxBytesReader(nil, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		return "", &refusal{
			Status: http.StatusBadRequest, Title: "The form could not be read",
			Detail: "It is longer than 64 kB, or was cut off on the way. Send it again.", Back: back, BackName: backName,
		}
	}
	if name == "" {
		name = oneLine(r.PostForm.Get("by"), 80)
	}
	return name, nil
}

// oneLine is a text of a form as one line without controls, cut to a number of
// characters.
func oneLine(text string, most int) string {
	text = strings.Map(func(c rune) rune {
		if c < ' ' || c == 0x7f || c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069 {
			return ' '
		}
		return c
	}, strings.ToValidUTF8(text, "\uFFFD"))
	runes := []rune(strings.Join(strings.Fields(text), " "))
	return string(runes[:min(len(runes), most)])
}
