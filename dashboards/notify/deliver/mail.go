package deliver

import (
	"bytes"
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"strings"
	"time"

	smtp "github.com/wneessen/go-mail"
	session "github.com/wneessen/go-mail/smtp"
)

// How a connection to the mail server is secured.
const (
	StartTLS = "starttls" // begun in the clear, then secured or given up; port 587
	TLS      = "tls"      // secured from the first byte; port 465
	NoTLS    = "none"     // for a server on this machine; port 25
)

// MailServer is where e-mail is handed over.
type MailServer struct {
	Host         string
	Port         int           // that of TLS when 0
	From         *mail.Address // sender
	Username     string        // none to send without a login
	PasswordFile string        // its first line
	TLS          string        // StartTLS when empty
	CAFile       string        // PEM; the system's authorities when empty
}

var mailPorts = map[string]int{StartTLS: 587, TLS: 465, NoTLS: 25}

// Check says what is wrong with the settings.
func (s MailServer) Check() error {
	security := cmp.Or(s.TLS, StartTLS)
	switch {
	case s.Host == "":
		return errors.New("host is missing; write the mail server's name, such as mail.example.com")
	case strings.ContainsAny(s.Host, ":/ "):
		return fmt.Errorf("host: %q is not a bare name; the port has its own key", s.Host)
	case s.Port < 0 || s.Port > 65535:
		return fmt.Errorf("port: %d is none; leave it out for that of tls", s.Port)
	case mailPorts[security] == 0:
		return fmt.Errorf("tls: %q is none of %s, %s, %s", s.TLS, StartTLS, TLS, NoTLS)
	case s.From == nil:
		return errors.New("from is missing; write the sender's address")
	case (s.Username == "") != (s.PasswordFile == ""):
		return errors.New("username and password_file belong together; set both or neither")
	case security == NoTLS && s.Username != "":
		return fmt.Errorf("tls: %s would send the password in the clear; use %s or %s", NoTLS, StartTLS, TLS)
	case security == NoTLS && s.CAFile != "":
		return fmt.Errorf("ca_file is of no use with tls: %s", NoTLS)
	}
	if _, err := secret("mail password", s.PasswordFile); err != nil {
		return err
	}
	_, err := secured(s.Host, s.CAFile)
	return err
}

// Letter is one e-mail.
type Letter struct {
	ID      string // the same for the same letter: the local part of its Message-ID
	Thread  string // what letters about the same thing have in common, or ""
	To      *mail.Address
	ReplyTo *mail.Address // the sender when nil
	Date    time.Time
	Subject string
	Text    string
	HTML    string
	Urgent  bool
	Files   []File // attached
}

// File is attached to a letter.
type File struct {
	Name    string
	Type    string // such as application/pdf
	Content []byte
}

// mailPatience is how long the server may take over one letter. Some look for
// spam in it before they answer, and to hang up on them makes a second one.
const mailPatience = 2 * time.Minute

// Mailer is a connection to the mail server.
type Mailer struct {
	client *smtp.Client
	server *session.Client
	from   *mail.Address
	conn   net.Conn
	undo   func() bool // no longer ends with the context
}

// Connect reaches the server, secures the connection and logs in. The connection
// ends with the context, whatever it is doing.
func (s MailServer) Connect(ctx context.Context) (*Mailer, error) {
	m := &Mailer{from: s.From, undo: func() bool { return true }}
	var err error
	if m.client, err = s.client(m.dialer(ctx, s)); err != nil {
		return nil, err
	}
	if m.server, err = m.client.DialToSMTPClientWithContext(ctx); err != nil {
		m.Close()
		return nil, fail(All, "connect to mail server %s: %w", m.client.ServerAddr(), err)
	}
	return m, nil
}

// dialer opens connections and knows the last, as the library does not close one
// on which the talk before the first letter fails.
func (m *Mailer) dialer(ctx context.Context, s MailServer) smtp.DialContextFunc {
	return func(dial context.Context, network, address string) (conn net.Conn, err error) {
		plain := &net.Dialer{Timeout: patience}
		if s.TLS == TLS {
			config, err := secured(s.Host, s.CAFile)
			if err != nil {
				return nil, err
			}
			conn, err = (&tls.Dialer{NetDialer: plain, Config: config}).DialContext(dial, network, address)
			if err != nil {
				return nil, err
			}
		} else if conn, err = plain.DialContext(dial, network, address); err != nil {
			return nil, err
		}
		m.conn = conn
		m.undo = context.AfterFunc(ctx, func() { _ = conn.Close() })
		return conn, nil
	}
}

func (s MailServer) client(dial smtp.DialContextFunc) (*smtp.Client, error) {
	security := cmp.Or(s.TLS, StartTLS)
	config, err := secured(s.Host, s.CAFile)
	if err != nil {
		return nil, err
	}
	policy := smtp.TLSMandatory
	if security != StartTLS {
		policy = smtp.NoTLS // or secured by the dialer
	}
	options := []smtp.Option{
		smtp.WithPort(cmp.Or(s.Port, mailPorts[security])), smtp.WithTLSConfig(config), smtp.WithTLSPolicy(policy),
		smtp.WithTimeout(mailPatience), smtp.WithDialContextFunc(dial),
	}
	if s.Username == "" {
		return smtp.NewClient(s.Host, options...)
	}
	password, err := secret("mail password", s.PasswordFile)
	if err != nil {
		return nil, err
	}
	// Of what the server offers, the strongest that takes a plain user name.
	login := smtp.WithOpportunisticSMTPAuth(smtp.SMTPAuthSCRAMSHA256, smtp.SMTPAuthSCRAMSHA1, smtp.SMTPAuthPlain, smtp.SMTPAuthLogin, smtp.SMTPAuthCramMD5)
	return smtp.NewClient(s.Host, append(options, login, smtp.WithUsername(s.Username), smtp.WithPassword(password))...)
}

// Send hands a letter over; when it returns nil, the server has taken it.
func (m *Mailer) Send(l Letter) error {
	message := l.message(m.from)
	err := m.client.SendWithSMTPClient(m.server, message)
	if err == nil || message.IsDelivered() { // what fails afterwards is of no matter
		return nil
	}
	return mailFailure(err)
}

// Close ends the connection.
func (m *Mailer) Close() {
	_ = m.client.CloseWithSMTPClient(m.server) // a farewell that does not arrive is none the worse
	m.undo()
	if m.conn != nil {
		_ = m.conn.Close()
	}
}

// message makes the same bytes of the same letter each time, unless files are attached.
func (l Letter) message(from *mail.Address) *smtp.Msg {
	domain := from.Address[strings.LastIndexByte(from.Address, '@')+1:]
	m := smtp.NewMsg(smtp.WithNoDefaultUserAgent())
	if len(l.Files) == 0 { // the library would give inner and outer parts the same
		m.SetBoundary("coldweek-" + l.ID)
	}
	m.FromMailAddress(&mail.Address{Name: line(from.Name), Address: from.Address})
	m.ToMailAddress(&mail.Address{Name: line(l.To.Name), Address: l.To.Address})
	if l.ReplyTo != nil {
		m.ReplyToMailAddress(&mail.Address{Name: line(l.ReplyTo.Name), Address: l.ReplyTo.Address})
	}
	m.Subject(line(l.Subject))
	m.SetDateWithValue(l.Date)
	m.SetMessageIDWithValue("coldweek." + l.ID + "@" + domain)
	if l.Thread != "" {
		m.SetGenHeaderPreformatted("References", "<coldweek."+l.Thread+"@"+domain+">")
	}
	m.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no holiday replies
	if l.Urgent {
		m.SetImportance(smtp.ImportanceHigh)
	}
	m.SetBodyString(smtp.TypeTextPlain, l.Text)
	m.AddAlternativeString(smtp.TypeTextHTML, l.HTML)
	for _, f := range l.Files {
		// A bytes.Reader returns no error.
		_ = m.AttachReader(line(f.Name), bytes.NewReader(f.Content), smtp.WithFileContentType(smtp.ContentType(f.Type)))
	}
	return m
}

// mailFailure sorts what the server said: 4yz asks to come again, 5yz refuses
// (RFC 5321, section 4.2.1). A refused sender is a matter of the settings and
// not of the letter.
func mailFailure(err error) error {
	var said *smtp.SendError
	if !errors.As(err, &said) {
		return fail(All, "send e-mail: %w", err)
	}
	scope := All
	switch code := said.ErrorCode(); {
	case code == 421 || said.Reason == smtp.ErrSMTPMailFrom: // it hangs up, or knows us not
	case code >= 500:
		scope = Never
	case code >= 400:
		scope = One
	}
	return fail(scope, "send e-mail: %w", err)
}
