package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/metrics/prometheustest"
	"coldweek/dashboards/notify/deliver"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest"
	"coldweek/ingest/programtest"
	"coldweek/ingest/receive/brokertest"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/publish"
	"coldweek/ingest/site"
)

// chain is everything between a plant and its engineer: a broker, coldweek serve
// as a process of its own, a mail server, a web server that takes posts, and a
// subscriber to the engineer's topic.
type chain struct {
	t      *testing.T
	binary string
	dir    string // the home
	url    string // of the pages
	broker *brokertest.Mosquitto
	mail   *mailtest.Server
	hook   *postbox
	serve  *programtest.Process
	client mqtt.Client
	state  *topicState
}

const hookSecret = "between us"

// newChain sets everything up for some plants and starts it.
func newChain(t *testing.T, engineers []engineerConfig, plants ...rig.Plant) *chain {
	t.Helper()
	c := &chain{t: t, dir: filepath.Join(t.TempDir(), "home"), binary: filepath.Join(t.TempDir(), "coldweek")}
	c.broker = brokertest.Start(t, brokertest.Durable)
	c.mail, c.hook = mailtest.Start(t, mailtest.Options{}), newPostbox(t)
	build, err := exec.Command("go", "build", "-o", c.binary, ".").CombinedOutput()
	require.NoError(t, err, string(build))
	c.settle(engineers, plants)
	c.serve = programtest.New(t, filepath.Join(t.TempDir(), "serve.log"), func() *exec.Cmd {
		return exec.Command(c.binary, "serve", "--home", c.dir)
	})
	c.begin()
	t.Cleanup(c.serve.Kill)
	c.client, c.state = c.connect("plants and engineer"), newTopicState()
	require.NoError(t, await(c.client.Subscribe("firm/findings/#", 1, c.state.take)))
	c.awaitSubscription(plants[0].ID)
	return c
}

// settle writes the home's files. All engineers have e-mail and the webhook, the
// first has the topic too.
func (c *chain) settle(engineers []engineerConfig, plants []rig.Plant) {
	c.t.Helper()
	must(c.t, "init", c.dir)
	c.write("hook.secret", []byte(hookSecret+"\n"))
	address := fmt.Sprintf("127.0.0.1:%d", programtest.FreePort(c.t))
	c.url = "http://" + address
	for i := range engineers {
		e := &engineers[i]
		e.EMail, e.TimeZone, e.Webhook = addressOf(e.Name), "UTC", &webhookConfig{URL: c.hook.URL, SecretFile: "hook.secret"}
	}
	engineers[0].MQTT = &topicConfig{Topic: "firm/findings"}
	c.writeYAML("coldweek.yaml", config{
		Subscribe: &subscribeConfig{URL: c.broker.URL(), ClientID: "chain"}, Web: webConfig{Listen: address},
		Notify: &notifyConfig{
			PagesURL: c.url, SMTP: &smtpConfig{Host: "127.0.0.1", Port: c.mail.Port(), From: "coldweek <watch@firm.example>", TLS: "none"},
			MQTT: &notifyMQTTConfig{URL: c.broker.URL()}, Engineers: engineers,
		},
	})
	for _, p := range plants {
		record := p.Record()
		record.Note = &site.Note{Send: site.SendNever} // the letters counted are those of findings
		c.writeYAML(filepath.Join("sites", p.ID+".yaml"), record)
	}
}

func addressOf(name string) string { return strings.ToLower(name) + "@firm.example" }

func (c *chain) writeYAML(name string, value any) {
	c.t.Helper()
	text, err := yaml.Marshal(value)
	require.NoError(c.t, err)
	c.write(name, text)
}

func (c *chain) write(name string, text []byte) {
	c.t.Helper()
	require.NoError(c.t, os.WriteFile(filepath.Join(c.dir, name), text, 0o600))
}

// begin starts coldweek, as a supervisor does after it ended.
func (c *chain) begin() {
	c.t.Helper()
	healthy := func() bool {
		answer, err := http.Get(c.url + "/healthz")
		return err == nil && answer.Body.Close() == nil && answer.StatusCode == http.StatusOK
	}
	require.True(c.t, c.serve.Begin(healthy, time.Minute), "coldweek serve does not answer:\n%s", c.serve.Log())
}

func (c *chain) connect(id string) mqtt.Client {
	c.t.Helper()
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(c.broker.URL()).SetClientID(id).SetOrderMatters(false))
	require.NoError(c.t, await(client.Connect()))
	c.t.Cleanup(func() { client.Disconnect(250) })
	return client
}

func await(token mqtt.Token) error {
	token.Wait()
	return token.Error()
}

// awaitSubscription waits until coldweek has its place at the broker, which keeps
// from then on what comes while it is away.
func (c *chain) awaitSubscription(site string) {
	c.t.Helper()
	require.Eventually(c.t, func() bool {
		require.NoError(c.t, await(c.client.Publish("coldweek/"+site+"/senml", 1, false, "[]")))
		return c.metric("coldweek_ingest_messages_total") > 0
	}, time.Minute, 100*time.Millisecond)
}

// metric is the value of a series as Prometheus would scrape it, 0 without it.
func (c *chain) metric(series string) (value float64) {
	c.t.Helper()
	found := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(series) + ` (\S+)$`).FindStringSubmatch(get(c.t, c.url+"/metrics"))
	if found != nil {
		_, err := fmt.Sscan(found[1], &value)
		require.NoError(c.t, err)
	}
	return value
}

// findings is what coldweek findings says of a site.
func (c *chain) findings(site string, more ...string) []findingJSON {
	c.t.Helper()
	out, err := exec.Command(c.binary, append([]string{"findings", site, "--json", "--home", c.dir}, more...)...).Output()
	require.NoError(c.t, err)
	var list []findingJSON
	require.NoError(c.t, json.Unmarshal(out, &list))
	return list
}

// play publishes a plant's readings up to a time and returns when the broker has
// acknowledged them.
func (c *chain) play(r *rig.Rig, out *publish.Publisher, until time.Time, note func(ingest.Reading)) {
	c.t.Helper()
	r.Advance(until, func(reading ingest.Reading) {
		if note != nil {
			note(reading)
		}
		require.NoError(c.t, out.Publish(c.t.Context(), reading))
	})
	_, err := out.Flush(c.t.Context())
	require.NoError(c.t, err)
}

// postbox is a web server that takes what is posted to it, once it has verified
// the signature as any receiver can.
type postbox struct {
	*httptest.Server
	t *testing.T

	mu     sync.Mutex
	answer func() int // what happens to the next post after it was taken: a status, 0 to hang up; all well when nil
	posts  []post
}

// post is what was taken.
type post struct {
	ID, Type, Engineer string
	Findings           []postedFinding
}

type postedFinding struct {
	Site, Kind, State, Title string
	Since                    time.Time
	Happened                 []string
}

func newPostbox(t *testing.T) *postbox {
	b := &postbox{t: t}
	b.Server = httptest.NewServer(http.HandlerFunc(b.take))
	t.Cleanup(b.Close)
	return b
}

func (b *postbox) take(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // its sender was killed in the midst of it
	}
	assert.Equal(b.t, "sha256="+deliver.Sign(hookSecret, r.Header.Get(deliver.TimestampHeader), body), r.Header.Get(deliver.SignatureHeader))
	var p post
	assert.NoError(b.t, json.Unmarshal(body, &p))
	assert.Equal(b.t, p.ID, r.Header.Get("Idempotency-Key"))
	status := http.StatusOK
	if answer := b.next(); answer != nil {
		status = answer()
	}
	if status/100 == 2 || status == 0 {
		b.mu.Lock()
		b.posts = append(b.posts, p)
		b.mu.Unlock()
	}
	if status == 0 {
		panic(http.ErrAbortHandler)
	}
	w.WriteHeader(status)
}

func (b *postbox) next() func() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.answer
}

func (b *postbox) answers(answer func() int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.answer = answer
}

// taken is every post, and once each those that have different ids.
func (b *postbox) taken() (all, once []post) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, p := range b.posts {
		if !slices.ContainsFunc(once, func(before post) bool { return before.ID == p.ID }) {
			once = append(once, p)
		}
	}
	return slices.Clone(b.posts), once
}

// topicState is what a subscriber sees of retained messages.
type topicState struct {
	mu   sync.Mutex
	last map[string]string
}

func newTopicState() *topicState { return &topicState{last: map[string]string{}} }

func (s *topicState) take(_ mqtt.Client, m mqtt.Message) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last[m.Topic()] = string(m.Payload())
}

// of returns the last message on a topic, "" when it was cleared.
func (s *topicState) of(topic string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last[topic]
}

// open is the topics that hold something, in alphabetical order.
func (s *topicState) open() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	topics := []string{}
	for topic, payload := range s.last {
		if payload != "" {
			topics = append(topics, topic)
		}
	}
	slices.Sort(topics)
	return topics
}

// subjectOf is a letter's subject.
func subjectOf(t *testing.T, l mailtest.Letter) string {
	t.Helper()
	subject, err := new(mime.WordDecoder).DecodeHeader(l.Header.Get("Subject"))
	require.NoError(t, err)
	return subject
}

// houseWith is one of the demo's houses, sampled once a minute, with a trouble.
func houseWith(t *testing.T, id string, troubles ...rig.Trouble) rig.Plant {
	t.Helper()
	plant, err := houseByID(id)
	require.NoError(t, err)
	plant.Metering.Interval, plant.Troubles = time.Minute, troubles
	return plant
}

// TestAFindingReachesItsEngineer: the flow of a simulated plant falls by 70 % some
// hours ago, and its readings come in over Mosquitto. The finding is stored, told
// by letter, by signed post and on a topic, and counted by the metrics, and the
// command that the letter names acknowledges it.
func TestAFindingReachesItsEngineer(t *testing.T) {
	if testing.Short() {
		t.Skip("it builds the program and waits for a look at the plant")
	}
	now := time.Now()
	plant := houseWith(t, "orchard-house", rig.Trouble{Kind: rig.FlowStep, At: now.Add(-8 * time.Hour), Size: 0.3})
	c := newChain(t, []engineerConfig{{Name: "Ada"}}, plant)
	r, err := rig.New(plant, now.Add(-48*time.Hour))
	require.NoError(t, err)
	out := publish.New(c.client, publish.Options{Format: publish.SenML, Batch: 60})
	c.play(r, out, now, nil)

	const kind = "flow_stepped"
	var found findingJSON
	require.Eventually(t, func() bool {
		c.play(r, out, time.Now(), nil)
		list := c.findings(plant.ID)
		k := slices.IndexFunc(list, func(f findingJSON) bool { return f.Kind == kind })
		if k >= 0 {
			found = list[k]
		}
		return k >= 0
	}, 3*time.Minute, time.Second, "coldweek findings says nothing:\n%s", c.serve.Log())
	assert.EqualValues(t, "urgent", found.Severity)
	assert.Contains(t, found.Title, "The flow fell by")

	topic := "firm/findings/" + plant.ID + "/" + kind
	require.Eventually(t, func() bool {
		_, posts := c.hook.taken()
		return len(c.mail.Letters()) > 0 && len(posts) > 0 && c.state.of(topic) != ""
	}, time.Minute, 50*time.Millisecond, "not told by every way")
	c.checkTold(plant, found)
	assert.JSONEq(t, fmt.Sprintf("%q", found.Title), field(t, c.state.of(topic), "title"))
	assert.InDelta(t, 1, c.metric(`coldweek_site_findings{severity="urgent",site="`+plant.ID+`",state="open"}`), 0)
	c.checkRaised(plant.ID, kind)
	c.acknowledgeAsTold(plant.ID)
}

// checkTold checks the letter and the post about an urgent finding.
func (c *chain) checkTold(plant rig.Plant, found findingJSON) {
	c.t.Helper()
	var letters []mailtest.Letter
	for _, l := range c.mail.Letters() {
		if subjectOf(c.t, l) == "Urgent: "+plant.Name+": "+found.Title {
			letters = append(letters, l)
		}
	}
	require.Len(c.t, letters, 1)
	text := letters[0].Part(c.t, "text/plain")
	for _, words := range append([]string{
		plant.Name, found.Title, found.Basis, c.url + "/plants/" + plant.ID, "coldweek ack " + plant.ID + " " + found.Kind + " --home " + c.dir,
	}, append(found.Causes, found.Next...)...) {
		assert.Contains(c.t, text, words)
	}
	posts, _ := c.hook.taken()
	posts = slices.DeleteFunc(posts, func(p post) bool { return p.Findings[0].Kind != found.Kind })
	require.Len(c.t, posts, 1)
	assert.Equal(c.t, "urgent", posts[0].Type)
	assert.Equal(c.t, plant.ID, posts[0].Findings[0].Site)
	assert.Equal(c.t, found.Title, posts[0].Findings[0].Title)
	assert.True(c.t, found.Since.Equal(posts[0].Findings[0].Since))
	assert.Equal(c.t, []string{"opened"}, posts[0].Findings[0].Happened)
}

// checkRaised: a real Prometheus with the deployed rules scrapes coldweek through
// its gate, and raises an alert of the finding, which waits for its minute.
func (c *chain) checkRaised(site, kind string) {
	c.t.Helper()
	prometheus := prometheustest.Start(c.t, map[string]string{"coldweek": strings.TrimPrefix(c.url, "http://")}, filepath.Join(root, "deploy/prometheus/rules/coldweek.yml"))
	raised := fmt.Sprintf(`ALERTS{alertname="UrgentFinding", site=%q, kind=%q, severity="urgent"}`, site, kind)
	require.Eventually(c.t, func() bool {
		alerts, err := prometheus.Query(raised)
		return err == nil && len(alerts) == 1
	}, time.Minute, 100*time.Millisecond, "no alert:\n%s", prometheus.Log())
	up, err := prometheus.Query(`up{job="coldweek"}`)
	require.NoError(c.t, err)
	require.Len(c.t, up, 1)
	assert.InDelta(c.t, 1, float64(up[0].Value), 0)
	states, err := prometheus.Alerts()
	require.NoError(c.t, err)
	assert.Contains(c.t, []string{"pending", "firing"}, states["UrgentFinding"])
	assert.Equal(c.t, "inactive", states["ColdweekDown"])
}

func field(t *testing.T, object, name string) string {
	t.Helper()
	var fields map[string]json.RawMessage
	require.NoError(t, json.Unmarshal([]byte(object), &fields))
	return string(fields[name])
}

// acknowledgeAsTold runs the command that the letter names, as it stands.
func (c *chain) acknowledgeAsTold(site string) {
	c.t.Helper()
	line := regexp.MustCompile(`(?m)^ +coldweek (ack .*)$`).FindStringSubmatch(c.mail.Letters()[0].Part(c.t, "text/plain"))
	require.NotNil(c.t, line)
	ctx, cancel := context.WithTimeout(c.t.Context(), time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, "sh", "-c", c.binary+" "+line[1]).CombinedOutput()
	require.NoError(c.t, err, string(out))
	for _, f := range c.findings(site) {
		if strings.Contains(line[1], " "+f.Kind+" ") {
			assert.True(c.t, f.Acknowledged)
		}
	}
}
