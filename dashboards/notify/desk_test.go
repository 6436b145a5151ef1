package notify_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest/store"
)

// desk is where notifications of one outbox go out, at a time of its own.
type desk struct {
	t       *testing.T
	options notify.Options
	*notify.Notifier
	mail    *mailtest.Server
	log     *bytes.Buffer
	now     time.Time
	actions []store.Action
}

var london, berlin = zone("Europe/London"), zone("Europe/Berlin")

func zone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

// wednesday is a winter's Wednesday at ten, London time.
var wednesday = time.Date(2026, 1, 14, 10, 0, 0, 0, london)

// ada hears of everything by e-mail, with quiet hours and a digest at 07:30.
func ada() notify.Engineer {
	return notify.Engineer{
		Name: "Ada Müller", EMail: &mail.Address{Name: "Ada Müller", Address: "ada@firm.example"},
		Sites: []string{notify.EverySite}, Severities: []store.Severity{store.Attention, store.Urgent}, Zone: london,
		Quiet:    &notify.QuietHours{From: clock("22:00"), To: clock("06:30")},
		DigestAt: clock("07:30"),
	}
}

func clock(text string) notify.ClockTime {
	c, err := notify.ParseClockTime(text)
	if err != nil {
		panic(err)
	}
	return c
}

// open opens a desk with those engineers and a mail server.
func open(t *testing.T, engineers ...notify.Engineer) *desk {
	t.Helper()
	d := &desk{t: t, mail: mailtest.Start(t, mailtest.Options{}), log: &bytes.Buffer{}, now: wednesday}
	d.options = notify.Options{
		Path: filepath.Join(t.TempDir(), "outbox.sqlite"), Engineers: engineers, PagesURL: "https://pages.firm.example/", Home: "/var/lib/coldweek",
		Mail: &deliver.MailServer{
			Host: "127.0.0.1", Port: d.mail.Port(), TLS: deliver.NoTLS, From: &mail.Address{Name: "coldweek", Address: "watch@firm.example"},
		},
		Now:    func() time.Time { return d.now },
		Logger: slog.New(slog.NewTextHandler(&locked{out: d.log}, nil)),
		Actions: func(_ context.Context, site string) (of []store.Action, _ error) {
			for _, a := range d.actions {
				if a.Site == site {
					of = append(of, a)
				}
			}
			return of, nil
		},
	}
	d.restart()
	t.Cleanup(func() { assert.NoError(t, d.Close()) })
	return d
}

// restart opens the outbox anew, as a process does that was started again.
func (d *desk) restart() {
	d.t.Helper()
	if d.Notifier != nil {
		require.NoError(d.t, d.Close())
	}
	var err error
	d.Notifier, err = notify.Open(d.t.Context(), d.options)
	require.NoError(d.t, err)
}

func (d *desk) put(events ...notify.Event) {
	d.t.Helper()
	require.NoError(d.t, d.Put(d.t.Context(), events...))
}

// step does what is due now and returns when the next thing is.
func (d *desk) step() time.Time {
	d.t.Helper()
	next, err := d.Step(d.t.Context())
	require.NoError(d.t, err)
	return next
}

// until lets time pass, stopping whenever something is due.
func (d *desk) until(at time.Time) {
	d.t.Helper()
	for {
		next := d.step()
		if next.IsZero() || next.After(at) {
			d.now = at
			d.step()
			return
		}
		d.now = next
	}
}

// subjects returns the letters' subjects, in order.
func (d *desk) subjects() []string {
	d.t.Helper()
	var subjects []string
	for _, l := range d.mail.Letters() {
		s, err := new(mime.WordDecoder).DecodeHeader(l.Header.Get("Subject"))
		require.NoError(d.t, err)
		subjects = append(subjects, s)
	}
	return subjects
}

// text returns the plain text of the n-th letter, html its other form.
func (d *desk) text(n int) string { return d.part(n, "text/plain") }
func (d *desk) html(n int) string { return d.part(n, "text/html") }

func (d *desk) part(n int, kind string) string {
	d.t.Helper()
	letters := d.mail.Letters()
	require.Greater(d.t, len(letters), n)
	return letters[n].Part(d.t, kind)
}

// act has someone do something about a kind at Mill Cottage, now.
func (d *desk) act(deed store.Deed, kind string, until time.Time) {
	d.actions = append(d.actions, store.Action{Site: "mill-cottage", Kind: kind, At: d.now, Deed: deed, By: "Ada", Until: until})
}

// lowFlow is an urgent finding at Mill Cottage.
func lowFlow(since time.Time) notify.Event {
	return notify.Event{
		What: notify.Opened, ID: "mill-cottage/low_flow", Site: "mill-cottage", SiteName: "Mill Cottage", Kind: "low_flow",
		Severity: store.Urgent, Since: since, Title: "Flow 310 l/h, below the 600 l/h the maker asks for",
		Evidence: []string{"flow while running: 310 l/h, median of the last 20 minutes", "flow at commissioning: 820 l/h"},
		Causes:   []string{"a strainer that is blocked", "a valve not fully open", "air in the primaries"},
		Next:     []string{"read the flow on the controller", "clean the strainer", "vent the primaries"},
		Caution:  "Isolate the electricity before opening the casing; the primaries may be hot and under pressure.",
		Basis:    "the maker's limit in the site record",
	}
}

// curveHigh asks for attention.
func curveHigh(since time.Time) notify.Event {
	return notify.Event{
		What: notify.Opened, Site: "mill-cottage", SiteName: "Mill Cottage", Kind: "curve_high", Severity: store.Attention, Since: since,
		Title: "Heating curve 4 K higher than the rooms need", Evidence: []string{"flow at 0 °C: 41 °C; 37 °C holds the rooms"},
		Next: []string{"lower the curve by 2 K and wait two days"},
	}
}

// at moves a finding to another site.
func at(site, name string, e notify.Event) notify.Event {
	e.Site, e.SiteName = site, name
	return e
}

func ended(e notify.Event, until time.Time) notify.Event {
	e.What, e.Until = notify.Ended, until
	return e
}

func raised(e notify.Event) notify.Event {
	e.What, e.Severity = notify.Raised, store.Urgent
	return e
}

// hook is a real web server that takes posts.
type hook struct {
	*httptest.Server
	secret string

	chokesOn string // a body that holds this

	mu     sync.Mutex
	status int
	posts  []posted
}

type posted struct {
	Key, Signature, Timestamp string
	Body                      []byte
	ID, Type, Engineer        string
	Findings                  []struct {
		Site, Kind, State, Title string
		Happened                 []string
	}
}

func newHook(t *testing.T) (*hook, *deliver.Webhook) {
	t.Helper()
	h := &hook{status: http.StatusOK, secret: filepath.Join(t.TempDir(), "hook.secret")}
	require.NoError(t, os.WriteFile(h.secret, []byte("between us"), 0o600))
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := posted{Key: r.Header.Get("Idempotency-Key"), Signature: r.Header.Get(deliver.SignatureHeader), Timestamp: r.Header.Get(deliver.TimestampHeader)}
		p.Body, _ = io.ReadAll(r.Body)
		h.mu.Lock()
		defer h.mu.Unlock()
		if err := json.Unmarshal(p.Body, &p); err != nil {
			t.Error(err)
		}
		if h.chokesOn != "" && bytes.Contains(p.Body, []byte(h.chokesOn)) {
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		if h.status == http.StatusOK {
			h.posts = append(h.posts, p)
		}
		w.WriteHeader(h.status)
		fmt.Fprint(w, "said the hook")
	}))
	t.Cleanup(h.Close)
	return h, &deliver.Webhook{URL: h.URL + "/findings", SecretFile: h.secret}
}

func (h *hook) answer(status int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.status = status
}

func (h *hook) got() []posted {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.posts)
}

// locked lets several goroutines write.
type locked struct {
	mu  sync.Mutex
	out io.Writer
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.out.Write(p)
}
