package notify

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"strings"
	"time"

	"coldweek/dashboards/notify/deliver"
)

// telling is a message with all that is needed to word it. The same message is
// worded the same each time, but for now.
type telling struct {
	engineer *Engineer
	message  message
	events   []Event
	pagesURL string
	home     string
	now      time.Time
}

func (n *Notifier) telling(g *Engineer, m message, events []Event) telling {
	return telling{engineer: g, message: m, events: events, pagesURL: n.options.PagesURL, home: n.options.Home, now: n.options.Now()}
}

// line is an open connection to one engineer by one way.
type line interface {
	tell(ctx context.Context, t telling) error
	Close()
}

// connect opens the line to an engineer. The purpose keeps two connections to the
// same broker apart.
func (n *Notifier) connect(ctx context.Context, g *Engineer, way Way, purpose string) (line, error) {
	switch way {
	case EMail:
		if n.options.Mail == nil {
			return nil, errors.New("no mail server is set")
		}
		m, err := n.options.Mail.Connect(ctx)
		return mailLine{m}, err
	case Webhook:
		p, err := g.Webhook.Connect()
		return hookLine{p}, err
	default:
		if n.options.Broker == nil {
			return nil, errors.New("no MQTT broker is set")
		}
		id := sha256.Sum256([]byte(n.options.ClientID + "\n" + g.Name + "\n" + purpose))
		p, err := n.options.Broker.Connect(ctx, "coldweek-"+hex.EncodeToString(id[:6]))
		return topicLine{p}, err
	}
}

type mailLine struct{ *deliver.Mailer }

func (l mailLine) tell(_ context.Context, t telling) error {
	letter, err := t.letter()
	if err != nil {
		return &deliver.Failure{Scope: deliver.One, Err: err}
	}
	return l.Send(letter)
}

type hookLine struct{ *deliver.Poster }

func (l hookLine) tell(ctx context.Context, t telling) error {
	body, err := json.Marshal(t.post())
	if err != nil {
		return &deliver.Failure{Scope: deliver.One, Err: err}
	}
	return l.Post(ctx, t.message.token, t.now, body)
}

type topicLine struct{ *deliver.Publisher }

// tell publishes where a finding stands, or that it is no more.
func (l topicLine) tell(ctx context.Context, t telling) error {
	if t.message.test {
		return l.try(ctx, t)
	}
	for i := range t.events {
		e := &t.events[i]
		var payload []byte
		if !e.over() {
			var err error
			if payload, err = json.Marshal(e); err != nil {
				return &deliver.Failure{Scope: deliver.One, Err: err}
			}
		}
		if err := l.Publish(ctx, t.engineer.topicOf(e), true, payload); err != nil {
			return err
		}
	}
	return nil
}

// topicOf is where a finding is published. What topics keep for wildcards is
// written differently.
func (g *Engineer) topicOf(e *Event) string {
	return g.Topic + "/" + strings.NewReplacer("+", "_", "#", "_", "\x00", "_").Replace(e.Site+"/"+e.Kind)
}

// post is the JSON that a webhook is sent.
type post struct {
	Version  int       `json:"version"` // of this format: 1
	ID       string    `json:"id"`      // also the Idempotency-Key
	Type     string    `json:"type"`    // urgent, ended, digest, test
	Engineer string    `json:"engineer"`
	Created  time.Time `json:"created"`
	Findings []outcome `json:"findings"`
}

// outcome is a finding with what happened to it since it was last told.
type outcome struct {
	Event
	State    string `json:"state"`    // open or ended
	Happened []What `json:"happened"` // in order
}

func (t *telling) post() post {
	p := post{
		Version: 1, ID: t.message.token, Type: t.message.kind(),
		Engineer: t.engineer.Name, Created: t.message.created.UTC(), Findings: []outcome{},
	}
	for _, f := range gathered(t.events) {
		p.Findings = append(p.Findings, outcome{f.Event, f.state(), f.steps})
	}
	return p
}

// kind is what sort of message it is.
func (m *message) kind() string {
	switch {
	case m.test:
		return "test"
	case m.digest:
		return "digest"
	case m.urgent:
		return "urgent"
	}
	return "ended"
}

// told is a finding with the steps that one message tells of.
type told struct {
	Event        // as of the last step
	steps []What // in order
}

func (f *told) state() string {
	if f.over() {
		return "ended"
	}
	return "open"
}

// gathered puts the events of each finding together, in the order in which the
// findings were first put.
func gathered(events []Event) []*told {
	var list []*told
	at := map[string]*told{}
	for _, e := range events {
		f := at[e.finding()]
		if f == nil {
			f = &told{}
			at[e.finding()] = f
			list = append(list, f)
		}
		id := cmp.Or(e.ID, f.ID)
		f.Event, f.steps = e, append(f.steps, e.What)
		f.ID = id
	}
	return list
}
