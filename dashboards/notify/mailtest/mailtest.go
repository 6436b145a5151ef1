// Package mailtest runs a mail server on loopback for tests: it speaks SMTP with
// TLS and logins, keeps what it is given, and can refuse, hang up and go away.
package mailtest

import (
	"bytes"
	"cmp"
	"crypto/tls"
	"errors"
	"io"
	"log"
	"mime"
	"mime/multipart"
	"net"
	"net/mail"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Options of a Server; the zero value takes mail from anyone, in the clear.
type Options struct {
	CertFile, KeyFile string // for TLS
	TLSAtOnce         bool   // from the first byte, not by STARTTLS
	Address           string // of loopback; 127.0.0.1 when empty
	Username          string // with Password, the only login let in; mail needs one then
	Password          string
}

// Letter is mail that the server took.
type Letter struct {
	From string // envelope
	To   []string
	User string // who was logged in
	TLS  bool
	Raw  []byte
	*mail.Message
}

// Part returns what the letter says in one of its forms, such as text/plain, with
// lines that end in \n.
func (l Letter) Part(t testing.TB, kind string) string {
	t.Helper()
	_, parameters, err := mime.ParseMediaType(l.Header.Get("Content-Type"))
	require.NoError(t, err)
	_, body, _ := bytes.Cut(l.Raw, []byte("\r\n\r\n"))
	for r := multipart.NewReader(bytes.NewReader(body), parameters["boundary"]); ; {
		p, err := r.NextPart()
		require.NoError(t, err, "the letter has no part %s", kind)
		if strings.HasPrefix(p.Header.Get("Content-Type"), kind) {
			text, err := io.ReadAll(p)
			require.NoError(t, err)
			return strings.ReplaceAll(string(text), "\r\n", "\n")
		}
	}
}

// Server is a mail server that ends with its test.
type Server struct {
	t       testing.TB
	options Options
	tls     *tls.Config
	port    int

	mu       sync.Mutex
	smtp     *smtp.Server
	listener net.Listener
	letters  []Letter
	refuse   func(to string) error
	hangUp   int
	asked    int
}

// Start runs a server on a free port.
func Start(t testing.TB, options Options) *Server {
	t.Helper()
	s := &Server{t: t, options: options}
	if options.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(options.CertFile, options.KeyFile)
		require.NoError(t, err)
		s.tls = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	}
	s.Resume()
	t.Cleanup(s.Stop)
	return s
}

// Port returns where it listens, the same after Stop and Resume.
func (s *Server) Port() int { return s.port }

// Resume listens again after Stop.
func (s *Server) Resume() {
	s.t.Helper()
	listener, err := net.Listen("tcp", net.JoinHostPort(cmp.Or(s.options.Address, "127.0.0.1"), strconv.Itoa(s.port)))
	require.NoError(s.t, err)
	s.port = listener.Addr().(*net.TCPAddr).Port
	server := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) { return &session{server: s, conn: c}, nil }))
	server.Domain, server.AllowInsecureAuth = "localhost", s.tls == nil
	server.ErrorLog = log.New(io.Discard, "", 0)
	if s.tls != nil && s.options.TLSAtOnce {
		listener = tls.NewListener(listener, s.tls)
	} else {
		server.TLSConfig = s.tls
	}
	s.mu.Lock()
	s.smtp, s.listener = server, listener
	s.mu.Unlock()
	go func() {
		if err := server.Serve(listener); !errors.Is(err, net.ErrClosed) && !errors.Is(err, smtp.ErrServerClosed) {
			assert.NoError(s.t, err)
		}
	}()
}

// Stop closes every connection and listens no more.
func (s *Server) Stop() {
	s.mu.Lock()
	server, listener := s.smtp, s.listener
	s.mu.Unlock()
	// Stopped already, or else it is now. The server alone does not close what it
	// has not begun to serve.
	_ = server.Close()
	_ = listener.Close()
}

// Refuse has the server answer every recipient with what the function returns,
// such as an *smtp.SMTPError; nil lets all in again.
func (s *Server) Refuse(answer func(to string) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refuse = answer
}

// HangUp has the server close the connection in place of its answer, after it
// took each of the next so many letters.
func (s *Server) HangUp(letters int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.hangUp = letters
}

// Letters returns what was taken so far, in order.
func (s *Server) Letters() []Letter {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Letter(nil), s.letters...)
}

// Asked returns how many recipients were named so far, refused ones included.
func (s *Server) Asked() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.asked
}

// session is one connection's mail.
type session struct {
	server *Server
	conn   *smtp.Conn
	user   string
	letter Letter
}

func (s *session) AuthMechanisms() []string {
	if s.server.options.Username == "" {
		return nil
	}
	return []string{sasl.Plain}
}

func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, username, password string) error {
		if o := s.server.options; username != o.Username || password != o.Password {
			return smtp.ErrAuthFailed
		}
		s.user = username
		return nil
	}), nil
}

func (s *session) Mail(from string, _ *smtp.MailOptions) error {
	if s.server.options.Username != s.user {
		return smtp.ErrAuthRequired
	}
	_, secure := s.conn.TLSConnectionState()
	s.letter = Letter{From: from, User: s.user, TLS: secure}
	return nil
}

func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.server.mu.Lock()
	refuse := s.server.refuse
	s.server.asked++
	s.server.mu.Unlock()
	if refuse != nil {
		if err := refuse(to); err != nil {
			return err
		}
	}
	s.letter.To = append(s.letter.To, to)
	return nil
}

func (s *session) Data(r io.Reader) (err error) {
	if s.letter.Raw, err = io.ReadAll(r); err != nil {
		return err
	}
	if s.letter.Message, err = mail.ReadMessage(bytes.NewReader(s.letter.Raw)); err != nil {
		return err
	}
	s.server.mu.Lock()
	s.server.letters = append(s.server.letters, s.letter)
	hangUp := s.server.hangUp > 0
	if hangUp {
		s.server.hangUp--
	}
	s.server.mu.Unlock()
	if hangUp {
		return s.conn.Conn().Close()
	}
	return nil
}

func (s *session) Reset()        {}
func (s *session) Logout() error { return nil }
