package notify_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest/store"
)

// The test binary is also the process that is killed: with a plan in its
// environment it puts events, says so, and tells of them until it dies.
const planVariable = "COLDWEEK_TEST_NOTIFIER"

func TestMain(m *testing.M) {
	if text := os.Getenv(planVariable); text != "" {
		var p plan
		err := json.Unmarshal([]byte(text), &p)
		if err == nil {
			err = p.run(context.Background())
		}
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

const (
	planEngineers = 8
	planEvents    = 40 // five for each engineer, which is no burst
)

// plan says what a notifier does, in a process of its own.
type plan struct {
	Path     string
	MailPort int
	Hook     deliver.Webhook
	First    int // event to put first
}

func (p plan) engineers() []notify.Engineer {
	var all []notify.Engineer
	for i := range planEngineers {
		all = append(all, notify.Engineer{
			Name: fmt.Sprint("Engineer ", i), EMail: lowerAddress(fmt.Sprintf("e%d@firm.example", i)), Webhook: &p.Hook,
			Sites: []string{fmt.Sprintf("house-%d", i)}, Severities: []store.Severity{store.Urgent}, Zone: time.UTC,
		})
	}
	return all
}

func lowerAddress(address string) *mail.Address { return &mail.Address{Address: address} }

// event is the i-th; its title is its number.
func (p plan) event(i int) notify.Event {
	e := at(fmt.Sprintf("house-%d", i%planEngineers), "", lowFlow(time.Unix(1768372200, 0)))
	e.Kind, e.Title = fmt.Sprintf("kind_%d", i), fmt.Sprintf("event number %d.", i)
	return e
}

// run prints the number of each event that was handed over.
func (p plan) run(ctx context.Context) error {
	n, err := notify.Open(ctx, notify.Options{
		Path: p.Path, Engineers: p.engineers(),
		Mail: &deliver.MailServer{Host: "127.0.0.1", Port: p.MailPort, TLS: deliver.NoTLS, From: lowerAddress("watch@firm.example")},
	})
	if err != nil {
		return err
	}
	failed := make(chan error, 1)
	go func() { failed <- n.Run(ctx) }()
	for i := p.First; i < planEvents; i++ {
		if err := n.Put(ctx, p.event(i)); err != nil {
			return err
		}
		fmt.Println(i)
		time.Sleep(time.Duration(rand.N(8)) * time.Millisecond)
	}
	return <-failed
}

// killAfter starts the process and kills it some milliseconds after it has handed
// over so many more events; it returns the number of the last.
func (p plan) killAfter(t *testing.T, events int) (last int) {
	t.Helper()
	text, err := json.Marshal(p)
	require.NoError(t, err)
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), planVariable+"="+string(text))
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	last = p.First - 1
	lines := bufio.NewScanner(out)
	for n := 0; n < events && last < planEvents-1 && lines.Scan(); n++ {
		last, err = strconv.Atoi(lines.Text())
		require.NoError(t, err)
	}
	time.Sleep(rand.N(15 * time.Millisecond)) // somewhere between making a message and noting that it went
	require.NoError(t, c.Process.Kill())
	for lines.Scan() {
		last, err = strconv.Atoi(lines.Text())
		require.NoError(t, err)
	}
	require.Error(t, c.Wait(), "it was killed")
	return last
}

// TestNothingIsLostOrDoubledByKills kills the notifier again and again in the
// midst of its work. Each event that was handed over arrives, by e-mail and at
// the webhook; by Message-ID and Idempotency-Key, once.
func TestNothingIsLostOrDoubledByKills(t *testing.T) {
	server := mailtest.Start(t, mailtest.Options{})
	h, address := newHook(t)
	p := plan{Path: filepath.Join(t.TempDir(), "outbox.sqlite"), MailPort: server.Port(), Hook: *address}
	kills := 0
	for ; p.First < planEvents; kills++ {
		last := p.killAfter(t, 1+rand.N(4))
		p.First = max(0, last) // once more what was handed over last
		if last == planEvents-1 {
			break
		}
	}
	n, err := notify.Open(t.Context(), notify.Options{
		Path: p.Path, Engineers: p.engineers(),
		Mail: &deliver.MailServer{Host: "127.0.0.1", Port: p.MailPort, TLS: deliver.NoTLS, From: lowerAddress("watch@firm.example")},
	})
	require.NoError(t, err)
	defer n.Close()
	_, err = n.Step(t.Context())
	require.NoError(t, err)
	require.Zero(t, n.Ask("SELECT count(*) FROM message WHERE sent_ms IS NULL"))

	byMail, letters := told(server.Letters(), func(l mailtest.Letter) (string, string) { return l.Header.Get("Message-ID"), string(l.Raw) })
	byHook, posts := told(h.got(), func(p posted) (string, string) { return p.Key, string(p.Body) })
	t.Logf("%d kills; %d letters, %d by Message-ID; %d posts, %d by Idempotency-Key", kills+1, len(server.Letters()), letters, len(h.got()), posts)
	for i := range planEvents {
		assert.Equal(t, 1, byMail[i], "event %d by e-mail", i)
		assert.Equal(t, 1, byHook[i], "event %d at the webhook", i)
	}
	assert.Len(t, byMail, planEvents)
}

// told counts in how many messages of different names each event is.
func told[M any](messages []M, read func(M) (name, text string)) (events map[int]int, names int) {
	events = map[int]int{}
	var seen []string
	for _, m := range messages {
		name, text := read(m)
		if slices.Contains(seen, name) {
			continue
		}
		seen = append(seen, name)
		for i := range planEvents {
			if strings.Contains(text, fmt.Sprintf("event number %d.", i)) {
				events[i]++
			}
		}
	}
	return events, len(seen)
}
