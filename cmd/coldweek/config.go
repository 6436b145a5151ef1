package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/goccy/go-yaml"

	"coldweek/dashboards/login"
)

// config is coldweek.yaml.
type config struct {
	Broker    *brokerConfig    `yaml:"broker,omitempty"`
	Subscribe *subscribeConfig `yaml:"subscribe,omitempty"`
	Influx    *influxConfig    `yaml:"influx,omitempty"`
	Web       webConfig        `yaml:"web,omitempty"`
	Notify    *notifyConfig    `yaml:"notify,omitempty"`
}

// brokerConfig turns the embedded broker on.
type brokerConfig struct {
	Listen      string `yaml:"listen"`
	TLSCertFile string `yaml:"tls_cert_file,omitempty"`
	TLSKeyFile  string `yaml:"tls_key_file,omitempty"`
}

// subscribeConfig reads from a broker of one's own.
type subscribeConfig struct {
	URL          string `yaml:"url"`
	ClientID     string `yaml:"client_id,omitempty"`
	Username     string `yaml:"username,omitempty"`
	PasswordFile string `yaml:"password_file,omitempty"`
	CAFile       string `yaml:"ca_file,omitempty"`
	CertFile     string `yaml:"cert_file,omitempty"`
	KeyFile      string `yaml:"key_file,omitempty"`
	SharedGroup  string `yaml:"shared_group,omitempty"`
}

// influxConfig keeps readings, days and findings in InfluxDB instead of the
// data folder.
type influxConfig struct {
	URL       string `yaml:"url"`
	Org       string `yaml:"org,omitempty"`
	Bucket    string `yaml:"bucket"`
	TokenFile string `yaml:"token_file,omitempty"`
	CAFile    string `yaml:"ca_file,omitempty"`
}

type webConfig struct {
	Listen string `yaml:"listen,omitempty"`
	// TrustedProxies say who asks, and whether by TLS.
	TrustedProxies []string `yaml:"trusted_proxies,omitempty"`
	// OpenWithoutUsers serves the pages beyond this machine though nobody has to
	// log in. Only with trusted proxies do they answer to any host name then.
	OpenWithoutUsers bool `yaml:"open_without_users,omitempty"`
}

// Where things listen unless told otherwise: this machine only.
const (
	defaultBrokerListen = "127.0.0.1:1883"
	defaultWebListen    = "127.0.0.1:8137"
	defaultClientID     = "coldweek"
)

// starterConfig is what init writes.
const starterConfig = `# coldweek: one deployment. Everything that listens does so on this machine
# only (127.0.0.1) unless you write another address here.

# The embedded MQTT broker: a login per site (coldweek site login SITE), and a
# site may publish only below its own topics. Leave it out if you run a broker.
broker:
  listen: 127.0.0.1:1883
  # Beyond this machine, use TLS:
  # listen: 0.0.0.0:8883
  # tls_cert_file: /etc/coldweek/broker.crt
  # tls_key_file: /etc/coldweek/broker.key

# A broker of your own, such as Mosquitto:
# subscribe:
#   url: tcp://127.0.0.1:1883     # or ssl://broker.example:8883
#   username: coldweek
#   password_file: broker.password
#   ca_file: ca.crt
#   client_id: coldweek           # fixed: the broker keeps our place by it
#   shared_group: ""              # set when several coldweeks share the work

# Readings rest in data/ unless you run InfluxDB (1.8 or 2.x). Then they are
# acknowledged once they are in the journal in data/, and sent on from there.
# influx:
#   url: http://127.0.0.1:8086
#   org: coldweek
#   bucket: coldweek              # on 1.8: the database, or database/policy
#   token_file: influx.token      # on 1.8: user:password, or leave it out
#   ca_file: ca.crt

# The pages. Beyond this machine they ask for a log-in: coldweek user add NAME
# --role engineer. Put a proxy with TLS before them, and name it here.
web:
  listen: 127.0.0.1:8137
  # trusted_proxies: [127.0.0.1]    # believed: X-Forwarded-For, X-Forwarded-Proto
  # open_without_users: true        # only where something else asks for a log-in

# Who is told of findings: what is urgent at once, what asks for attention in a
# digest, one message a day. Try it with: coldweek notify test
# notify:
#   pages_url: https://coldweek.example     # where engineers find the pages
#   smtp:
#     host: mail.firm.example
#     from: coldweek <watch@firm.example>
#     username: watch
#     password_file: mail.password
#     tls: starttls                         # port 587; tls: port 465; none: this machine only
#   mqtt: {url: ssl://broker.firm.example:8883, username: coldweek, password_file: broker.password}
#   engineers:
#     - name: Ada
#       email: ada@firm.example
#       webhook: {url: https://chat.firm.example/hook, secret_file: hook.secret}
#       mqtt: {topic: firm/findings}
#       sites: ["*"]                        # or [mill-cottage, moor-farm]
#       severities: [attention, urgent]
#       time_zone: Europe/London
#       quiet_hours: {from: "22:00", to: "06:30", urgent_breaks_them: true}
#       digest_at: "07:30"
`

// readConfig reads coldweek.yaml for running the service.
func (h home) readConfig() (config, error) {
	c, err := h.parseConfig()
	if err != nil {
		return c, err
	}
	return c, c.validate(h)
}

// parseConfig reads coldweek.yaml strictly; paths in it are relative to the home.
func (h home) parseConfig() (config, error) {
	var c config
	text, err := os.ReadFile(h.configPath())
	if errors.Is(err, fs.ErrNotExist) {
		return c, usagef("%s is missing; coldweek init %s writes one", h.configPath(), h.dir)
	}
	if err != nil {
		return c, fmt.Errorf("read config: %w", err)
	}
	if err := yaml.UnmarshalWithOptions(text, &c, yaml.Strict()); err != nil {
		return c, usagef("%s: %s", h.configPath(), strings.TrimSpace(yaml.FormatError(err, false, true)))
	}
	c.setDefaults(h)
	return c, nil
}

// readStoreConfig reads what coldweek.yaml says of where things are kept; no
// file says nothing.
func (h home) readStoreConfig() (*influxConfig, error) {
	if _, err := os.Stat(h.configPath()); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	c, err := h.parseConfig()
	if err != nil {
		return nil, err
	}
	return c.Influx, c.Influx.validate(h)
}

func (c *config) setDefaults(h home) {
	if c.Web.Listen == "" {
		c.Web.Listen = defaultWebListen
	}
	if b := c.Broker; b != nil {
		if b.Listen == "" {
			b.Listen = defaultBrokerListen
		}
		h.resolve(&b.TLSCertFile, &b.TLSKeyFile)
	}
	if s := c.Subscribe; s != nil {
		if s.ClientID == "" {
			s.ClientID = defaultClientID
		}
		h.resolve(&s.PasswordFile, &s.CAFile, &s.CertFile, &s.KeyFile)
	}
	if i := c.Influx; i != nil {
		h.resolve(&i.TokenFile, &i.CAFile)
	}
	c.Notify.resolve(h)
}

func (c *config) validate(h home) error {
	if c.Broker == nil && c.Subscribe == nil {
		return usagef("%s: neither broker nor subscribe is set, so no reading can come in; set one of them", h.configPath())
	}
	if b := c.Broker; b != nil && (b.TLSCertFile == "") != (b.TLSKeyFile == "") {
		return usagef("%s: broker: tls_cert_file and tls_key_file belong together; set both or neither", h.configPath())
	}
	if s := c.Subscribe; s != nil && s.URL == "" {
		return usagef("%s: subscribe: url is missing; write tcp://HOST:1883 or ssl://HOST:8883", h.configPath())
	}
	if _, err := login.ParseProxies(c.Web.TrustedProxies); err != nil {
		return usagef("%s: web: trusted_proxies: %w", h.configPath(), err)
	}
	if err := c.Notify.validate(h); err != nil {
		return err
	}
	return c.Influx.validate(h)
}

func (i *influxConfig) validate(h home) error {
	switch {
	case i == nil:
		return nil
	case i.URL == "":
		return usagef("%s: influx: url is missing; write http://HOST:8086 or https://HOST:8086", h.configPath())
	case i.Bucket == "":
		return usagef("%s: influx: bucket is missing; on InfluxDB 1.8 write the database, or database/policy", h.configPath())
	}
	return nil
}

// resolve makes paths relative to the home folder absolute.
func (h home) resolve(paths ...*string) {
	for _, p := range paths {
		if *p != "" && !filepath.IsAbs(*p) {
			*p = filepath.Join(h.dir, *p)
		}
	}
}
