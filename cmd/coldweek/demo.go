package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/goccy/go-yaml"
	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"coldweek/ingest"
	"coldweek/ingest/broker"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/publish"
)

const (
	demoDays  = 14              // of history before now
	demoTick  = 2 * time.Second // how often the live plants move on
	demoBatch = 60              // sample times in one message of the history
)

func newDemo(a *app) *cobra.Command {
	var listen, keep string
	c := &cobra.Command{
		Use:   "demo",
		Short: "Three invented houses, playing: nothing else is needed",
		Long: `Run everything in one process: the embedded broker, a store, the pages, and
three simulated houses that publish over MQTT as real plants do. They play the
past fortnight as fast as it goes, then live. The address of the pages is
printed; nothing is opened. Without --keep all of it is gone at the end.`,
		Example: "  coldweek demo\n  coldweek demo --listen 127.0.0.1:9000 --keep ./coldweek-demo",
		Args:    args(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) (err error) {
			h := home{keep}
			if keep == "" {
				if h.dir, err = os.MkdirTemp("", "coldweek-demo-"); err != nil {
					return fmt.Errorf("make demo folder: %w", err)
				}
				defer func() { err = errors.Join(err, os.RemoveAll(h.dir)) }()
			}
			return a.demo(c.Context(), h, listen)
		},
	}
	c.Flags().StringVar(&listen, "listen", defaultWebListen, "address of the pages; another free port is taken if this one is not")
	c.Flags().StringVar(&keep, "keep", "", "folder to keep everything in")
	return c
}

// demo sets up a deployment with the demo's houses and runs it.
func (a *app) demo(ctx context.Context, h home, listen string) error {
	if err := h.make(); err != nil {
		return err
	}
	passwords, err := h.inviteHouses()
	if err != nil {
		return err
	}
	return a.withStore(ctx, h, func(st *stores) error { return a.playDemo(ctx, h, st, passwords, listen) })
}

// playDemo runs the service and the houses that publish to it.
func (a *app) playDemo(ctx context.Context, h home, st *stores, passwords map[string]string, listen string) error {
	play := &playing{houses: rig.Houses(), passwords: passwords, past: map[string]bool{}}
	for _, plant := range play.houses {
		play.past[plant.ID] = true
	}
	config := config{Broker: &brokerConfig{Listen: "127.0.0.1:0"}, Web: webConfig{Listen: freeAddress(listen), OpenWithoutUsers: true}}
	s, err := newService(ctx, h, config, st, a.quietLogger(), play.notice)
	if err != nil {
		return err
	}
	s.catchUp, play.watchPast = play.inPast, s.watchPast
	fmt.Fprintf(a.out, "coldweek demo: open %s\n", s.url())
	fmt.Fprintf(a.out, "Three invented houses publish to the broker at %s. Stop with Ctrl-C.\n", s.broker.Addr())

	bar := a.progress("playing the past fortnight")
	play.progress = func(percent int64) { bar.set(percent, 100) }
	parts, ctx := errgroup.WithContext(ctx)
	parts.Go(func() error { return s.run(ctx) })
	parts.Go(func() error { return play.run(ctx, s.broker.Addr().String()) })
	err = ignoreCancelled(parts.Wait())
	bar.done()
	return err
}

// inviteHouses writes the records and logins of the demo's houses and returns
// their passwords by site.
func (h home) inviteHouses() (map[string]string, error) {
	logins, err := broker.ReadLogins(h.loginsPath())
	if err != nil {
		return nil, err
	}
	passwords := map[string]string{}
	for _, plant := range rig.Houses() {
		text, err := yaml.Marshal(plant.Record())
		if err != nil {
			return nil, fmt.Errorf("encode record of %q: %w", plant.ID, err)
		}
		if err := os.WriteFile(h.sitePath(plant.ID), text, 0o640); err != nil {
			return nil, fmt.Errorf("write record: %w", err)
		}
		passwords[plant.ID] = rand.Text()
		if err := logins.Set(plant.ID, passwords[plant.ID]); err != nil {
			return nil, err
		}
	}
	return passwords, nil
}

// freeAddress returns the address if it can be listened on, else one with any
// free port of the same host.
func freeAddress(address string) string {
	listener, err := net.Listen("tcp", address)
	if err == nil {
		listener.Close()
		return address
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return address // the error of listening will say what is wrong
	}
	return net.JoinHostPort(host, "0")
}

// playing is the demo's houses at work.
type playing struct {
	houses    []rig.Plant
	passwords map[string]string
	progress  func(percent int64)
	watchPast func(ctx context.Context, id string, since time.Time) error

	playedDays atomic.Int64 // by all houses together

	mu   sync.Mutex
	past map[string]bool // houses whose past is still played
}

func (p *playing) inPast(id string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.past[id]
}

// arrive has what the past showed noticed, and the house watched from now on. Until
// then it would be found silent, having got no further than some days ago.
func (p *playing) arrive(ctx context.Context, id string, since time.Time) error {
	if err := p.watchPast(ctx, id, since); err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.past[id] = false
	return nil
}

// notice is the line on top of the pages.
func (p *playing) notice() string {
	if total := int64(demoDays * len(p.houses)); p.playedDays.Load() < total {
		return fmt.Sprintf("Demonstration: three invented houses. Playing the past fortnight, %d %% done.", 100*p.playedDays.Load()/total)
	}
	return "Demonstration: three invented houses, live."
}

// run plays all houses side by side.
func (p *playing) run(ctx context.Context, address string) error {
	parts, ctx := errgroup.WithContext(ctx)
	for _, plant := range p.houses {
		parts.Go(func() error { return p.house(ctx, plant, address) })
	}
	return parts.Wait()
}

// house plays one: the past fortnight in large messages, then live.
func (p *playing) house(ctx context.Context, plant rig.Plant, address string) error {
	zone, err := time.LoadLocation(plant.TimeZone)
	if err != nil {
		return err
	}
	now := time.Now().In(zone)
	begin := time.Date(now.Year(), now.Month(), now.Day()-demoDays, 0, 0, 0, 0, zone)
	r, err := rig.New(plant, begin)
	if err != nil {
		return err
	}
	client, err := connect(ctx, address, plant.ID, p.passwords[plant.ID])
	if err != nil {
		return err
	}
	defer client.Disconnect(250)
	history := publish.New(client, publish.Options{Format: publish.SenML, Batch: demoBatch})
	for day := 1; day <= demoDays; day++ {
		if err := advance(ctx, r, history, begin.AddDate(0, 0, day)); err != nil {
			return err
		}
		done := p.playedDays.Add(1)
		p.progress(100 * done / int64(demoDays*len(p.houses)))
	}
	if err := advance(ctx, r, history, time.Now()); err != nil {
		return err
	}
	if err := p.arrive(ctx, plant.ID, begin); err != nil {
		return err
	}
	live := publish.New(client, publish.Options{Format: publish.SenML})
	for every(ctx, demoTick) {
		if err := advance(ctx, r, live, time.Now()); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// advance simulates up to a time and publishes what the plant sampled.
func advance(ctx context.Context, r *rig.Rig, out *publish.Publisher, until time.Time) error {
	var failed error
	r.Advance(until, func(reading ingest.Reading) {
		if failed == nil {
			failed = out.Publish(ctx, reading)
		}
	})
	if failed != nil {
		return failed
	}
	_, err := out.Flush(ctx)
	return err
}

func connect(ctx context.Context, address, user, password string) (mqtt.Client, error) {
	options := mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID(user).SetUsername(user).SetPassword(password)
	client := mqtt.NewClient(options)
	token := client.Connect()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-token.Done():
	}
	if err := token.Error(); err != nil {
		return nil, fmt.Errorf("connect house %q to the broker: %w", user, err)
	}
	return client, nil
}
