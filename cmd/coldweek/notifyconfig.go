package main

import (
	"cmp"
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"time"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest"
	"coldweek/ingest/store"
)

// notifyConfig says who is told of findings, and how.
type notifyConfig struct {
	PagesURL  string            `yaml:"pages_url,omitempty"`
	SMTP      *smtpConfig       `yaml:"smtp,omitempty"`
	MQTT      *notifyMQTTConfig `yaml:"mqtt,omitempty"`
	Engineers []engineerConfig  `yaml:"engineers"`
}

type smtpConfig struct {
	Host         string `yaml:"host"`
	Port         int    `yaml:"port,omitempty"`
	From         string `yaml:"from"`
	Username     string `yaml:"username,omitempty"`
	PasswordFile string `yaml:"password_file,omitempty"`
	TLS          string `yaml:"tls,omitempty"`
	CAFile       string `yaml:"ca_file,omitempty"`
}

type notifyMQTTConfig struct {
	URL          string `yaml:"url"`
	Username     string `yaml:"username,omitempty"`
	PasswordFile string `yaml:"password_file,omitempty"`
	CAFile       string `yaml:"ca_file,omitempty"`
}

type engineerConfig struct {
	Name       string            `yaml:"name"`
	EMail      string            `yaml:"email,omitempty"`
	Webhook    *webhookConfig    `yaml:"webhook,omitempty"`
	MQTT       *topicConfig      `yaml:"mqtt,omitempty"`
	Sites      []string          `yaml:"sites,omitempty"`
	Severities []store.Severity  `yaml:"severities,omitempty"`
	TimeZone   string            `yaml:"time_zone"`
	QuietHours *quietHoursConfig `yaml:"quiet_hours,omitempty"`
	DigestAt   string            `yaml:"digest_at,omitempty"`
}

type webhookConfig struct {
	URL        string `yaml:"url"`
	SecretFile string `yaml:"secret_file"`
}

type topicConfig struct {
	Topic string `yaml:"topic"`
}

type quietHoursConfig struct {
	From             string `yaml:"from"`
	To               string `yaml:"to"`
	UrgentBreaksThem *bool  `yaml:"urgent_breaks_them,omitempty"` // true when left out
}

const defaultDigestAt = "07:30"

// resolve makes the paths absolute.
func (n *notifyConfig) resolve(h home) {
	if n == nil {
		return
	}
	if s := n.SMTP; s != nil {
		h.resolve(&s.PasswordFile, &s.CAFile)
	}
	if m := n.MQTT; m != nil {
		h.resolve(&m.PasswordFile, &m.CAFile)
	}
	for _, e := range n.Engineers {
		if e.Webhook != nil {
			h.resolve(&e.Webhook.SecretFile)
		}
	}
}

// validate finds what options would.
func (n *notifyConfig) validate(h home) error {
	if n == nil {
		return nil
	}
	_, err := n.options(h)
	return err
}

// options are the notifier's, as far as coldweek.yaml says.
func (n *notifyConfig) options(h home) (o notify.Options, err error) {
	wrong := func(where string, err error) error { return usagef("%s: notify: %s%w", h.configPath(), where, err) }
	o = notify.Options{Path: h.outboxPath(), PagesURL: n.PagesURL, Home: h.absolute(), ClientID: h.deployment()}
	if _, ok := webAddress(n.PagesURL); n.PagesURL != "" && !ok {
		return o, wrong("", fmt.Errorf("pages_url: %q is no address of a web server; write where engineers find the pages, such as https://coldweek.example", n.PagesURL))
	}
	if n.SMTP != nil {
		if o.Mail, err = n.SMTP.server(); err != nil {
			return o, wrong("smtp: ", err)
		}
	}
	if m := n.MQTT; m != nil {
		o.Broker = &deliver.Broker{URL: m.URL, Username: m.Username, PasswordFile: m.PasswordFile, CAFile: m.CAFile}
		if err := o.Broker.Check(); err != nil {
			return o, wrong("mqtt: ", err)
		}
	}
	if len(n.Engineers) == 0 {
		return o, wrong("", fmt.Errorf("engineers: nobody is listed, so nobody is told; list someone or leave notify out"))
	}
	for i, e := range n.Engineers {
		where := fmt.Sprintf("engineers: %s: ", cmp.Or(e.Name, fmt.Sprintf("number %d", i+1)))
		engineer, err := e.engineer(n)
		if err != nil {
			return o, wrong(where, err)
		}
		if slices.ContainsFunc(o.Engineers, func(other notify.Engineer) bool { return other.Name == e.Name }) {
			return o, wrong(where, fmt.Errorf("listed twice; what waits for an engineer is kept by name, so give each a name of their own"))
		}
		o.Engineers = append(o.Engineers, engineer)
	}
	return o, nil
}

func (s *smtpConfig) server() (*deliver.MailServer, error) {
	m := &deliver.MailServer{
		Host: s.Host, Port: s.Port, Username: s.Username, PasswordFile: s.PasswordFile, TLS: s.TLS, CAFile: s.CAFile,
	}
	if s.From != "" {
		var err error
		if m.From, err = mail.ParseAddress(s.From); err != nil {
			return nil, fmt.Errorf("from: %q: %w; write coldweek <watch@firm.example>", s.From, err)
		}
	}
	return m, m.Check()
}

// engineer is the engineer as the notifier knows them.
func (e *engineerConfig) engineer(n *notifyConfig) (notify.Engineer, error) {
	g := notify.Engineer{Name: strings.TrimSpace(e.Name), Sites: e.Sites, Severities: e.Severities}
	if g.Name == "" {
		return g, fmt.Errorf("name is missing")
	}
	if len(g.Sites) == 0 {
		g.Sites = []string{notify.EverySite}
	}
	if len(g.Severities) == 0 {
		g.Severities = []store.Severity{store.Attention, store.Urgent}
	}
	for _, s := range g.Severities {
		if s != store.Attention && s != store.Urgent {
			return g, fmt.Errorf("severities: %q is not sent; write %s, %s or both", s, store.Attention, store.Urgent)
		}
	}
	if err := e.ways(&g, n); err != nil {
		return g, err
	}
	return g, e.hours(&g)
}

// ways reads how the engineer is reached.
func (e *engineerConfig) ways(g *notify.Engineer, n *notifyConfig) (err error) {
	if e.EMail == "" && e.Webhook == nil && e.MQTT == nil {
		return fmt.Errorf("cannot be reached; set email, webhook or mqtt")
	}
	if e.EMail != "" {
		if g.EMail, err = mail.ParseAddress(e.EMail); err != nil {
			return fmt.Errorf("email: %q: %w; write ada@firm.example", e.EMail, err)
		}
		g.EMail.Name = g.Name
		if n.SMTP == nil {
			return fmt.Errorf("email: needs a mail server; set notify: smtp")
		}
	}
	if e.Webhook != nil {
		g.Webhook = &deliver.Webhook{URL: e.Webhook.URL, SecretFile: e.Webhook.SecretFile}
		if err := g.Webhook.Check(); err != nil {
			return fmt.Errorf("webhook: %w", err)
		}
	}
	if e.MQTT == nil {
		return nil
	}
	if n.MQTT == nil {
		return fmt.Errorf("mqtt: needs a broker; set notify: mqtt: url")
	}
	g.Topic = e.MQTT.Topic
	if err := deliver.CheckTopic(g.Topic); err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	return nil
}

// hours reads when the engineer is told, and when not.
func (e *engineerConfig) hours(g *notify.Engineer) (err error) {
	if e.TimeZone == "" {
		return fmt.Errorf("time_zone is missing; write a name such as Europe/London, by which the digest and quiet hours go")
	}
	if g.Zone, err = time.LoadLocation(e.TimeZone); err != nil || e.TimeZone == "Local" {
		return fmt.Errorf("time_zone: %q is not known; write a name such as Europe/London", e.TimeZone)
	}
	if g.DigestAt, err = notify.ParseClockTime(cmp.Or(e.DigestAt, defaultDigestAt)); err != nil {
		return fmt.Errorf("digest_at: %w", err)
	}
	q := e.QuietHours
	if q == nil {
		return nil
	}
	g.Quiet = &notify.QuietHours{HoldsUrgent: q.UrgentBreaksThem != nil && !*q.UrgentBreaksThem}
	if g.Quiet.From, err = notify.ParseClockTime(q.From); err != nil {
		return fmt.Errorf("quiet_hours: from: %w", err)
	}
	if g.Quiet.To, err = notify.ParseClockTime(q.To); err != nil {
		return fmt.Errorf("quiet_hours: to: %w", err)
	}
	if g.Quiet.From == g.Quiet.To {
		return fmt.Errorf("quiet_hours: from and to are both %s; give them a length, or leave them out", q.From)
	}
	if g.Quiet.Holds(g.DigestAt) {
		return fmt.Errorf("digest_at: %s is within the quiet hours, %s to %s; choose a time outside them", g.DigestAt, g.Quiet.From, g.Quiet.To)
	}
	return nil
}

// unknownSites are words on sites that engineers are to hear of and that have no
// record.
func (n *notifyConfig) unknownSites(known []string) (words []string) {
	for _, e := range n.Engineers {
		for _, id := range e.Sites {
			if id != notify.EverySite && !slices.Contains(known, id) {
				words = append(words, fmt.Sprintf("%s is to hear of site %q, which has no record; did you mean %q?", e.Name, id, ingest.Nearest(id, known)))
			}
		}
	}
	return words
}
