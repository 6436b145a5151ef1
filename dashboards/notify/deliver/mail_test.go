package deliver_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/mail"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify/deliver"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest/receive/brokertest"
)

// file writes a secret.
func file(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

var sender = &mail.Address{Name: "Wärmewacht Köln", Address: "watch@firm.example"}

// plainServer is a mail server in the clear, and the way to it.
func plainServer(t *testing.T) (*mailtest.Server, deliver.MailServer) {
	t.Helper()
	s := mailtest.Start(t, mailtest.Options{})
	return s, deliver.MailServer{Host: "127.0.0.1", Port: s.Port(), From: sender, TLS: deliver.NoTLS}
}

func letter() deliver.Letter {
	return deliver.Letter{
		ID: "0123abcd", Thread: "feed", Urgent: true, Date: time.Date(2026, 1, 14, 6, 30, 0, 0, time.FixedZone("CET", 3600)),
		To:      &mail.Address{Name: "Jürgen Großmann", Address: "jg@firm.example"},
		Subject: "Urgent: Mühle am Bach: flow 310 l/h",
		Text:    "Flow 310 l/h – below 600 l/h.\n.\nA dot alone on a line is no end.\n",
		HTML:    "<p>Flow 310&nbsp;l/h – below 600 l/h.</p>",
	}
}

func send(t *testing.T, s deliver.MailServer, letters ...deliver.Letter) error {
	t.Helper()
	require.NoError(t, s.Check())
	m, err := s.Connect(t.Context())
	if err != nil {
		return err
	}
	defer m.Close()
	for _, l := range letters {
		if err := m.Send(l); err != nil {
			return err
		}
	}
	return nil
}

func TestLettersArriveAsTheyWereMeant(t *testing.T) {
	server, s := plainServer(t)
	require.NoError(t, send(t, s, letter()))
	require.Len(t, server.Letters(), 1)
	got := server.Letters()[0]
	assert.Equal(t, "watch@firm.example", got.From)
	assert.Equal(t, []string{"jg@firm.example"}, got.To)
	h := got.Header
	from, err := h.AddressList("From")
	require.NoError(t, err)
	assert.Equal(t, []*mail.Address{sender}, from)
	to, err := h.AddressList("To")
	require.NoError(t, err)
	assert.Equal(t, "Jürgen Großmann", to[0].Name)
	subject, err := new(mime.WordDecoder).DecodeHeader(h.Get("Subject"))
	require.NoError(t, err)
	assert.Equal(t, "Urgent: Mühle am Bach: flow 310 l/h", subject)
	assert.Equal(t, "<coldweek.0123abcd@firm.example>", h.Get("Message-ID"))
	assert.Equal(t, "<coldweek.feed@firm.example>", h.Get("References"))
	assert.Equal(t, "auto-generated", h.Get("Auto-Submitted"))
	assert.Equal(t, "high", h.Get("Importance"))
	date, err := h.Date()
	require.NoError(t, err)
	assert.True(t, date.Equal(letter().Date), date)
	parts := partsOf(t, got)
	assert.Equal(t, letter().Text, parts["text/plain"])
	assert.Equal(t, letter().HTML, parts["text/html"])
	for _, l := range bytes.Split(got.Raw, []byte("\r\n")) {
		assert.LessOrEqual(t, len(l), 998, "RFC 5322, section 2.1.1")
	}
}

// partsOf decodes a letter's parts by their type.
func partsOf(t *testing.T, l mailtest.Letter) map[string]string {
	t.Helper()
	kind, parameters, err := mime.ParseMediaType(l.Header.Get("Content-Type"))
	require.NoError(t, err)
	require.Equal(t, "multipart/alternative", kind)
	parts := map[string]string{}
	for r := multipart.NewReader(bytes.NewReader(body(t, l)), parameters["boundary"]); ; {
		p, err := r.NextPart() // decodes quoted-printable
		if err == io.EOF {
			return parts
		}
		require.NoError(t, err)
		kind, charset, err := mime.ParseMediaType(p.Header.Get("Content-Type"))
		require.NoError(t, err)
		require.Equal(t, "UTF-8", charset["charset"])
		if len(parts) == 0 {
			require.Equal(t, "text/plain", kind, "the plain one comes first (RFC 2046, section 5.1.4)")
		}
		text, err := io.ReadAll(p)
		require.NoError(t, err)
		parts[kind] = string(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")))
	}
}

func body(t *testing.T, l mailtest.Letter) []byte {
	t.Helper()
	text, err := io.ReadAll(l.Body)
	require.NoError(t, err)
	return text
}

// TestFilesAreAttached beside the two forms of the text.
func TestFilesAreAttached(t *testing.T) {
	server, s := plainServer(t)
	l := letter()
	l.ReplyTo = &mail.Address{Name: "Ruth\r\nBcc: x@x.example", Address: "ruth@firm.example"}
	l.Files = []deliver.File{{Name: "Brief für Mühle.pdf", Type: "application/pdf", Content: []byte("%PDF-1.3\r\n.\r\n\x00\xff")}}
	require.NoError(t, send(t, s, l))
	require.Len(t, server.Letters(), 1)
	got := server.Letters()[0]
	kind, parameters, err := mime.ParseMediaType(got.Header.Get("Content-Type"))
	require.NoError(t, err)
	require.Equal(t, "multipart/mixed", kind)
	reply, err := got.Header.AddressList("Reply-To")
	require.NoError(t, err)
	assert.Equal(t, "ruth@firm.example", reply[0].Address)
	assert.Empty(t, got.Header.Get("Bcc"))
	parts := multipart.NewReader(bytes.NewReader(body(t, got)), parameters["boundary"])
	text, err := parts.NextPart()
	require.NoError(t, err)
	kind, _, err = mime.ParseMediaType(text.Header.Get("Content-Type"))
	require.NoError(t, err)
	assert.Equal(t, "multipart/alternative", kind)
	file, err := parts.NextPart()
	require.NoError(t, err)
	_, disposition, err := mime.ParseMediaType(file.Header.Get("Content-Disposition"))
	require.NoError(t, err)
	name, err := new(mime.WordDecoder).DecodeHeader(disposition["filename"])
	require.NoError(t, err)
	assert.Equal(t, "Brief für Mühle.pdf", name)
	assert.Equal(t, "base64", file.Header.Get("Content-Transfer-Encoding"))
	content, err := io.ReadAll(base64.NewDecoder(base64.StdEncoding, file))
	require.NoError(t, err)
	assert.Equal(t, l.Files[0].Content, content)
	_, err = parts.NextPart()
	assert.Equal(t, io.EOF, err)
}

func TestALetterIsTheSameEachTime(t *testing.T) {
	server, s := plainServer(t)
	require.NoError(t, send(t, s, letter()))
	require.NoError(t, send(t, s, letter()))
	got := server.Letters()
	require.Len(t, got, 2)
	assert.Equal(t, string(got[0].Raw), string(got[1].Raw))
}

func TestNothingInsideALetterMakesHeaders(t *testing.T) {
	server, s := plainServer(t)
	l := letter()
	l.Subject = "Mill\r\nBcc: victim@elsewhere.example\r\n\r\n<script>"
	l.To = &mail.Address{Name: "Jo\r\nCc: victim@elsewhere.example", Address: "jo@firm.example"}
	l.Text = "\r\n.\r\nMAIL FROM:<x@x.example>\r\n"
	require.NoError(t, send(t, s, l))
	require.Len(t, server.Letters(), 1)
	got := server.Letters()[0]
	assert.Equal(t, []string{"jo@firm.example"}, got.To)
	assert.Empty(t, got.Header.Get("Bcc"))
	assert.Empty(t, got.Header.Get("Cc"))
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	require.NoError(t, err)
	assert.Equal(t, "Mill Bcc: victim@elsewhere.example <script>", subject)
	assert.Contains(t, partsOf(t, got)["text/plain"], "MAIL FROM:<x@x.example>")
}

func TestMailServersAreTrustedByTheirCertificates(t *testing.T) {
	authority, stranger := brokertest.NewAuthority(t), brokertest.NewAuthority(t)
	cert, key := authority.Issue("mail")
	for _, security := range []string{deliver.StartTLS, deliver.TLS} {
		server := mailtest.Start(t, mailtest.Options{
			CertFile: cert, KeyFile: key, TLSAtOnce: security == deliver.TLS, Username: "watch", Password: "päss wörd",
		})
		s := deliver.MailServer{
			Host: "localhost", Port: server.Port(), From: sender, TLS: security,
			Username: "watch", PasswordFile: file(t, "päss wörd\n"), CAFile: authority.CAFile,
		}
		require.NoError(t, send(t, s, letter()), security)
		require.Len(t, server.Letters(), 1)
		assert.True(t, server.Letters()[0].TLS)
		assert.Equal(t, "watch", server.Letters()[0].User)

		check := func(s deliver.MailServer, want string) {
			t.Helper()
			err := send(t, s, letter())
			require.ErrorContains(t, err, want, security)
			assert.Equal(t, deliver.All, deliver.AsFailure(err).Scope, "it may be put right: %v", err)
		}
		other := mailtest.Start(t, mailtest.Options{CertFile: cert, KeyFile: key, TLSAtOnce: security == deliver.TLS, Address: "127.0.0.2"})
		untrusted, elsewhere, wrong := s, s, s
		untrusted.CAFile = stranger.CAFile
		check(untrusted, "certificate signed by unknown authority")
		untrusted.CAFile = ""
		check(untrusted, "certificate signed by unknown authority")
		elsewhere.Host, elsewhere.Port = "127.0.0.2", other.Port()
		check(elsewhere, "certificate is valid for 127.0.0.1, not 127.0.0.2")
		wrong.PasswordFile = file(t, "guess")
		check(wrong, "Authentication failed")
		assert.Len(t, server.Letters(), 1)
		assert.Zero(t, other.Asked())
	}
}

func TestAServerWithoutTLSGetsNothing(t *testing.T) {
	server, s := plainServer(t)
	s.TLS = deliver.StartTLS
	require.ErrorContains(t, send(t, s, letter()), "STARTTLS")
	assert.Zero(t, server.Asked())
}

func TestWhatAMailServerSaysDecidesWhetherToTryAgain(t *testing.T) {
	server, s := plainServer(t)
	check := func(code int, want deliver.Scope) {
		t.Helper()
		server.Refuse(func(string) error { return &smtp.SMTPError{Code: code, Message: fmt.Sprint("because ", code)} })
		err := send(t, s, letter())
		require.ErrorContains(t, err, fmt.Sprint("because ", code))
		assert.Equal(t, want, deliver.AsFailure(err).Scope, code)
	}
	check(450, deliver.One)
	check(451, deliver.One)
	check(421, deliver.All)
	check(550, deliver.Never)
	check(552, deliver.Never)
	server.Refuse(nil)
	server.HangUp(1)
	err := send(t, s, letter())
	require.Error(t, err, "it took the letter and did not say so")
	assert.Equal(t, deliver.All, deliver.AsFailure(err).Scope, "%v", err)
	server.Stop()
	err = send(t, s, letter())
	require.ErrorContains(t, err, "connection refused")
	assert.Equal(t, deliver.All, deliver.AsFailure(err).Scope)
}

func TestMailSettingsSayWhatWouldBeRight(t *testing.T) {
	good := deliver.MailServer{Host: "mail.firm.example", From: sender}
	require.NoError(t, good.Check())
	check := func(want string, change func(*deliver.MailServer)) {
		t.Helper()
		s := good
		change(&s)
		assert.ErrorContains(t, s.Check(), want)
	}
	check("host is missing", func(s *deliver.MailServer) { s.Host = "" })
	check("not a bare name", func(s *deliver.MailServer) { s.Host = "mail.firm.example:25" })
	check("none of starttls, tls, none", func(s *deliver.MailServer) { s.TLS = "ssl" })
	check("from is missing", func(s *deliver.MailServer) { s.From = nil })
	check("belong together", func(s *deliver.MailServer) { s.Username = "watch" })
	check("in the clear", func(s *deliver.MailServer) {
		s.TLS, s.Username, s.PasswordFile = deliver.NoTLS, "watch", file(t, "secret")
	})
	check("no such file", func(s *deliver.MailServer) { s.Username, s.PasswordFile = "watch", "/nowhere" })
	check("empty first line", func(s *deliver.MailServer) { s.Username, s.PasswordFile = "watch", file(t, "\nsecret") })
	check("no PEM certificate", func(s *deliver.MailServer) { s.CAFile = file(t, "hello") })
}
