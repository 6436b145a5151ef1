package notify

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"coldweek/dashboards/notify/deliver"
)

// Tried is what became of one test message.
type Tried struct {
	Engineer string
	Way      Way
	To       string
	Err      error // nil when the other side took it
}

// Test sends one message by each way of the engineer of that name, or of all when
// it is empty, whatever the hour and past the outbox.
func (n *Notifier) Test(ctx context.Context, name string) []Tried {
	var tried []Tried
	for i := range n.options.Engineers {
		g := &n.options.Engineers[i]
		if name != "" && g.Name != name {
			continue
		}
		for _, way := range g.ways() {
			tried = append(tried, Tried{g.Name, way, g.address(way), n.test(ctx, g, way)})
		}
	}
	return tried
}

func (n *Notifier) test(ctx context.Context, g *Engineer, way Way) error {
	line, err := n.connect(ctx, g, way, "test")
	if err != nil {
		return err
	}
	defer line.Close()
	now := n.options.Now()
	hash := sha256.Sum256(fmt.Appendf(nil, "%s\n%s\ntest %d", g.Name, way, now.UnixNano()))
	m := message{token: hex.EncodeToString(hash[:16]), engineer: g.Name, way: way, test: true, created: now}
	return line.tell(ctx, n.telling(g, m, nil))
}

// address is where a way leads.
func (g *Engineer) address(way Way) string {
	switch way {
	case EMail:
		return g.EMail.Address
	case Webhook:
		return g.Webhook.URL
	}
	return g.Topic
}

// try publishes a test message, which is not retained.
func (l topicLine) try(ctx context.Context, t telling) error {
	payload, err := json.Marshal(t.post())
	if err != nil {
		return &deliver.Failure{Scope: deliver.One, Err: err}
	}
	return l.Publish(ctx, t.engineer.Topic+"/test", false, payload)
}

func (t *telling) testSheet() sheet {
	return sheet{
		Subject: "Test from coldweek", Kicker: "Test", Heading: "coldweek reaches you here", Tone: "ended",
		Foot: []string{"Nothing is wrong anywhere: someone has run coldweek notify test.", t.footer()},
	}
}

// State is what something in the outbox waits for.
type State string

// The states.
const (
	Waiting State = "waiting"  // for its time: a digest, the end of quiet hours, calm after a burst
	Trying  State = "trying"   // to get through
	GivenUp State = "given up" // for good
)

// Pending is something that an engineer was not told, or not yet.
type Pending struct {
	State    State
	At       time.Time // when it is due, tried next, or was given up
	Engineer string
	Way      Way
	Digest   bool
	Attempts int
	Problem  string // the last
	Events   []Event
}

// Pending returns what waits, what is being tried, and what was given up in the
// time the outbox remembers.
func (n *Notifier) Pending(ctx context.Context) ([]Pending, error) {
	messages, err := n.box.unsettled(ctx)
	if err != nil {
		return nil, err
	}
	var list []Pending
	for _, m := range messages {
		events, err := n.box.events(ctx, m.id)
		if err != nil {
			return nil, err
		}
		p := Pending{Trying, m.next, m.engineer, m.way, m.digest, m.attempts, m.problem, events}
		if !m.givenUp.IsZero() {
			p.State, p.At = GivenUp, m.givenUp
		}
		list = append(list, p)
	}
	waiting, err := n.box.waiting(ctx, time.UnixMilli(farAwayMS))
	for _, w := range waiting {
		list = append(list, Pending{State: Waiting, At: w.due, Engineer: w.engineer, Way: w.way, Digest: w.digest, Events: []Event{w.Event}})
	}
	return list, err
}

// farAwayMS is the end of the year 9999.
const farAwayMS = 253402300799000
