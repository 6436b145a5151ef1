package deploy

import (
	"bytes"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest/programtest"
)

// alertmanager is the program itself with the configuration beside us, a mail
// server and a pager. Both have the certificate that the script made, and want
// the password and the token of its files.
type alertmanager struct {
	*programtest.Process
	t     *testing.T
	url   string
	mail  *mailtest.Server
	pager *pager
}

func startAlertmanager(t *testing.T) *alertmanager {
	t.Helper()
	binary := programtest.Find(t, "prometheus-alertmanager", "prometheus-alertmanager")
	s, dir := makeSecrets(t), t.TempDir()
	// Before 0.27 a newline at its end is taken for part of the password.
	require.NoError(t, os.WriteFile(s.file("alertmanager/smtp.password"), []byte("by letter"), 0o600))
	require.NoError(t, os.WriteFile(s.file("alertmanager/webhook.token"), []byte("by post\n"), 0o600))
	certificate, key := s.file("mosquitto/server.crt"), s.file("mosquitto/server.key")
	a := &alertmanager{
		t: t, pager: startPager(t, certificate, key, "by post"),
		mail: mailtest.Start(t, mailtest.Options{CertFile: certificate, KeyFile: key, Username: "coldweek@firm.example", Password: "by letter"}),
	}
	config, address := filepath.Join(dir, "alertmanager.yml"), fmt.Sprintf("127.0.0.1:%d", programtest.FreePort(t))
	require.NoError(t, os.WriteFile(config, []byte(a.configuration(s)), 0o600))
	a.url = "http://" + address
	a.Process = programtest.New(t, filepath.Join(dir, "log"), func() *exec.Cmd {
		c := exec.Command(binary, "--config.file="+config, "--storage.path="+filepath.Join(dir, "data"),
			"--web.listen-address="+address, "--cluster.listen-address=")
		c.Env = append(os.Environ(), "SSL_CERT_FILE="+s.file("ca.crt"))
		return c
	})
	require.True(t, a.Begin(a.ready, time.Minute), "alertmanager does not get ready:\n%s", a.Log())
	t.Cleanup(a.Stop)
	return a
}

func (a *alertmanager) ready() bool {
	answer, err := http.Get(a.url + "/-/ready")
	return err == nil && answer.Body.Close() == nil && answer.StatusCode == http.StatusOK
}

// configuration is the one beside us, but for where things are and how long it
// waits. What is changed must be there.
func (a *alertmanager) configuration(s secrets) string {
	a.t.Helper()
	file, err := parser.ParseBytes([]byte(read(a.t, "alertmanager/alertmanager.yml")), 0)
	require.NoError(a.t, err)
	for key, value := range map[string]string{
		"$.global.smtp_smarthost":               fmt.Sprintf("127.0.0.1:%d", a.mail.Port()),
		"$.global.smtp_auth_password_file":      s.file("alertmanager/smtp.password"),
		"$.receivers[1].webhook_configs[0].url": a.pager.URL + "/alerts",
		"$.route.group_wait":                    "1s",
		"$.route.group_interval":                "1s",
		"$.route.routes[0].group_wait":          "1s",
		"$.route.routes[0].group_interval":      "1s",
		"$.receivers[1].webhook_configs[0].http_config.authorization.credentials_file": s.file("alertmanager/webhook.token"),
	} {
		path, err := yaml.PathString(key)
		require.NoError(a.t, err)
		_, err = path.FilterFile(file)
		require.NoError(a.t, err, key)
		require.NoError(a.t, path.ReplaceWithReader(file, strings.NewReader(value)), key)
	}
	return file.String()
}

// labels are those of an alert.
type labels map[string]string

// alert is what Prometheus makes of a rule, severity and all.
func (a *alertmanager) alert(name, site string, more ...string) labels {
	a.t.Helper()
	rules := alertRules(a.t)
	i := slices.IndexFunc(rules, func(r alertRule) bool { return r.Alert == name })
	require.GreaterOrEqual(a.t, i, 0, "there is no rule %s", name)
	l := labels{"alertname": name, "job": "coldweek", "instance": "coldweek:8137", "severity": rules[i].Labels["severity"]}
	if site != "" {
		l["site"] = site
	}
	for i := 0; i < len(more); i += 2 {
		l[more[i]] = more[i+1]
	}
	return l
}

// post hands alerts over as Prometheus does; they last until the end.
func (a *alertmanager) post(end time.Time, alerts ...labels) {
	a.t.Helper()
	type posted struct {
		Labels   labels    `json:"labels"`
		StartsAt time.Time `json:"startsAt"`
		EndsAt   time.Time `json:"endsAt"`
	}
	var all []posted
	for _, l := range alerts {
		all = append(all, posted{l, time.Now().Add(-time.Hour), end})
	}
	text, err := json.Marshal(all)
	require.NoError(a.t, err)
	answer, err := http.Post(a.url+"/api/v2/alerts", "application/json", bytes.NewReader(text))
	require.NoError(a.t, err)
	defer func() { _ = answer.Body.Close() }()
	body, _ := io.ReadAll(answer.Body)
	require.Equal(a.t, http.StatusOK, answer.StatusCode, "%s", body)
}

func (a *alertmanager) fire(alerts ...labels) {
	a.t.Helper()
	a.post(time.Now().Add(time.Hour), alerts...)
}

func (a *alertmanager) resolve(alerts ...labels) {
	a.t.Helper()
	a.post(time.Now().Add(-time.Second), alerts...)
}

// suppressed says whether another alert holds this one back.
func (a *alertmanager) suppressed(l labels) bool {
	answer, err := http.Get(a.url + "/api/v2/alerts")
	require.NoError(a.t, err)
	defer func() { _ = answer.Body.Close() }()
	var all []struct {
		Labels labels
		Status struct{ InhibitedBy []string }
	}
	require.NoError(a.t, json.NewDecoder(answer.Body).Decode(&all))
	for _, alert := range all {
		if fmt.Sprint(alert.Labels) == fmt.Sprint(l) {
			return len(alert.Status.InhibitedBy) > 0
		}
	}
	return false
}

// letter is mail in short: to whom, the first words of its subject, and the
// alerts it names.
type letter struct {
	To, Subject string
	Alerts      []string
}

// letters are those about a site, "" for coldweek itself.
func (a *alertmanager) letters(site string) (found []letter) {
	a.t.Helper()
	names := alertRules(a.t)
	for _, l := range a.mail.Letters() {
		subject, _, _ := strings.Cut(l.Header.Get("Subject"), "(")
		subject = strings.TrimSpace(subject)
		status, about, _ := strings.Cut(subject, "]")
		if strings.TrimSpace(about) != site {
			continue
		}
		short := letter{To: strings.Join(l.To, " "), Subject: status + "]"}
		text := l.Part(a.t, "text/html")
		for _, r := range names {
			for range strings.Count(text, "alertname = "+r.Alert+"<") {
				short.Alerts = append(short.Alerts, r.Alert)
			}
		}
		found = append(found, short)
	}
	return found
}

func (a *alertmanager) eventually(condition func() bool, why string) {
	a.t.Helper()
	if !assert.Eventually(a.t, condition, within, 50*time.Millisecond, why) {
		require.Fail(a.t, "alertmanager says", a.Log())
	}
}

// pager is a web server that takes what the webhook posts.
type pager struct {
	*httptest.Server
	mu    sync.Mutex
	pages []page
}

type page struct {
	Status      string
	GroupLabels labels
	Alerts      []struct {
		Status string
		Labels labels
	}
}

func startPager(t *testing.T, certificate, key, token string) *pager {
	t.Helper()
	pair, err := tls.LoadX509KeyPair(certificate, key)
	require.NoError(t, err)
	p := &pager{}
	p.Server = httptest.NewUnstartedServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var got page
		assert.Equal(t, "Bearer "+token, r.Header.Get("Authorization"))
		assert.Equal(t, "/alerts", r.URL.Path)
		assert.NoError(t, json.NewDecoder(r.Body).Decode(&got))
		p.mu.Lock()
		defer p.mu.Unlock()
		p.pages = append(p.pages, got)
	}))
	p.TLS = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	p.Config.ErrorLog = log.New(io.Discard, "", 0)
	p.StartTLS()
	t.Cleanup(p.Close)
	return p
}

// about returns "status: alert" of every alert of every page about a site.
func (p *pager) about(site string) (found []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, got := range p.pages {
		for _, alert := range got.Alerts {
			if got.GroupLabels["site"] == site {
				found = append(found, alert.Status+": "+alert.Labels["alertname"])
			}
		}
	}
	return found
}

const engineers, onCall = "engineers@firm.example", "on-call@firm.example"

// TestAlertmanagerTellsWhoItShould runs Alertmanager and receives what it sends,
// over TLS and with its logins.
func TestAlertmanagerTellsWhoItShould(t *testing.T) {
	a := startAlertmanager(t)
	t.Run("one message a site, to whom its severity says", func(t *testing.T) { a.in(t).groups() })
	t.Run("a silent site says nothing new but what is urgent", func(t *testing.T) { a.in(t).silentSite() })
	t.Run("a finding tells it better", func(t *testing.T) { a.in(t).betterTold() })
	t.Run("coldweek is away", func(t *testing.T) { a.in(t).coldweekDown() })
}

// in is the same Alertmanager for a part of the test.
func (a *alertmanager) in(t *testing.T) *alertmanager {
	part := *a
	part.t = t
	return &part
}

// groups: two alerts of a site are one message, another site's and an urgent one
// are others; so it is when they are over.
func (a *alertmanager) groups() {
	alerts := []labels{
		a.alert("AttentionFinding", "orchard-house", "kind", "pipes_swapped"), a.alert("DayOfPoorPerformance", "orchard-house"),
		a.alert("LowFlow", "tithe-barn"), a.alert("UrgentFinding", "tithe-barn", "kind", "frost"), a.alert("DiskFilling", ""),
	}
	a.fire(alerts...)
	a.eventually(func() bool {
		return len(a.letters("orchard-house")) > 0 && len(a.letters("tithe-barn")) > 1 && len(a.letters("")) > 0 && len(a.pager.about("tithe-barn")) > 0
	}, "not everybody was told")
	assert.Equal(a.t, []letter{{engineers, "[FIRING:2]", []string{"AttentionFinding", "DayOfPoorPerformance"}}}, a.letters("orchard-house"))
	assert.ElementsMatch(a.t, []letter{{engineers, "[FIRING:1]", []string{"LowFlow"}}, {onCall, "[FIRING:1]", []string{"UrgentFinding"}}}, a.letters("tithe-barn"))
	assert.Equal(a.t, []letter{{engineers, "[FIRING:1]", []string{"DiskFilling"}}}, a.letters(""))
	assert.Equal(a.t, []string{"firing: UrgentFinding"}, a.pager.about("tithe-barn"))
	assert.Empty(a.t, a.pager.about("orchard-house"))

	a.resolve(alerts...)
	a.eventually(func() bool {
		return len(a.letters("orchard-house")) > 1 && len(a.letters("tithe-barn")) > 3 && len(a.pager.about("tithe-barn")) > 1
	}, "not everybody was told that it is over")
	assert.Equal(a.t, letter{engineers, "[RESOLVED]", []string{"AttentionFinding", "DayOfPoorPerformance"}}, a.letters("orchard-house")[1])
	assert.Contains(a.t, a.letters("tithe-barn"), letter{onCall, "[RESOLVED]", []string{"UrgentFinding"}})
	assert.Equal(a.t, []string{"firing: UrgentFinding", "resolved: UrgentFinding"}, a.pager.about("tithe-barn"))
}

func (a *alertmanager) silentSite() {
	silent, flow := a.alert("SiteSilent", "mill-cottage"), a.alert("LowFlow", "mill-cottage")
	frost, elsewhere := a.alert("UrgentFinding", "mill-cottage", "kind", "frost"), a.alert("LowFlow", "chapel-row")
	a.fire(silent)
	a.eventually(func() bool { return len(a.letters("mill-cottage")) == 1 }, "silence is not told")
	a.fire(flow, frost, elsewhere)
	a.eventually(func() bool {
		return a.suppressed(flow) && len(a.letters("mill-cottage")) == 2 && len(a.letters("chapel-row")) == 1
	}, "the urgent alert, and another site's, are not told")
	assert.Equal(a.t, []letter{{engineers, "[FIRING:1]", []string{"SiteSilent"}}, {onCall, "[FIRING:1]", []string{"UrgentFinding"}}}, a.letters("mill-cottage"))
	assert.False(a.t, a.suppressed(frost))
	a.resolve(silent)
	a.eventually(func() bool {
		last := a.letters("mill-cottage")
		return slices.Contains(last[len(last)-1].Alerts, "LowFlow")
	}, "what was held back is told when the site speaks again")
}

// betterTold: what a finding says already is not said twice, whatever its
// severity; another finding holds nothing back.
func (a *alertmanager) betterTold() {
	flow, other := a.alert("LowFlow", "old-forge"), a.alert("LowFlow", "priory-lane")
	a.fire(a.alert("UrgentFinding", "old-forge", "kind", "flow_stepped"), a.alert("UrgentFinding", "priory-lane", "kind", "frost"))
	a.eventually(func() bool { return len(a.letters("old-forge")) == 1 && len(a.letters("priory-lane")) == 1 }, "the findings are not told")
	a.fire(flow, other)
	a.eventually(func() bool { return a.suppressed(flow) && len(a.letters("priory-lane")) == 2 }, "the flow is told beside its finding")
	assert.Len(a.t, a.letters("old-forge"), 1)
}

// coldweekDown: nothing that one coldweek said is news while it is away, and
// another says what it has to.
func (a *alertmanager) coldweekDown() {
	const second = "second.example:8137"
	down := a.alert("ColdweekDown", "", "instance", second)
	plants := []labels{
		a.alert("SiteSilent", "quay-street", "instance", second), a.alert("UrgentFinding", "quay-street", "instance", second, "kind", "frost"),
	}
	a.fire(down)
	a.eventually(func() bool { return slices.Contains(a.pager.about(""), "firing: ColdweekDown") }, "nobody is told that coldweek is away")
	a.fire(append(plants, a.alert("SiteSilent", "hill-farm"))...)
	a.eventually(func() bool {
		return a.suppressed(plants[0]) && a.suppressed(plants[1]) && len(a.letters("hill-farm")) == 1
	}, "another coldweek is not heard")
	assert.False(a.t, a.suppressed(down))
	assert.Empty(a.t, a.letters("quay-street"))
	assert.Empty(a.t, a.pager.about("quay-street"))
	a.resolve(down)
	a.eventually(func() bool { return len(a.letters("quay-street")) == 2 }, "what was held back is told when coldweek is back")
}
