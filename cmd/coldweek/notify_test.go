package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest/store"
)

// notifyHome is a deployment with a notify section, and secrets beside it.
func notifyHome(t *testing.T, section string) home {
	t.Helper()
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	for _, name := range []string{"mail.password", "broker.password", "hook.secret"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("secret\n"), 0o600))
	}
	require.NoError(t, os.WriteFile(home{dir}.configPath(), []byte("broker: {}\nnotify:\n"+section), 0o600))
	return home{dir}
}

func TestTheStartersNotifySectionIsRight(t *testing.T) {
	_, section, found := strings.Cut(starterConfig, "# notify:\n")
	require.True(t, found)
	h := notifyHome(t, regexp.MustCompile(`(?m)^# `).ReplaceAllString(section, ""))
	c, err := h.readConfig()
	require.NoError(t, err)
	o, err := c.Notify.options(h)
	require.NoError(t, err)
	require.Len(t, o.Engineers, 1)
	ada := o.Engineers[0]
	assert.Equal(t, `"Ada" <ada@firm.example>`, ada.EMail.String())
	assert.Equal(t, "firm/findings", ada.Topic)
	assert.Equal(t, filepath.Join(h.dir, "hook.secret"), ada.Webhook.SecretFile)
	assert.Equal(t, "22:00 06:30 07:30", fmt.Sprint(ada.Quiet.From, ada.Quiet.To, ada.DigestAt))
	assert.False(t, ada.Quiet.HoldsUrgent)
}

func TestMistakesInTheNotifySectionSayWhatWouldBeRight(t *testing.T) {
	const who = "    - {name: Ada, email: ada@firm.example, time_zone: Europe/London"
	const smtp = "  smtp: {host: localhost, from: a@b.example}\n  engineers:\n"
	check := func(want, section string) {
		t.Helper()
		h := notifyHome(t, section)
		_, err := h.readConfig()
		require.ErrorContains(t, err, want, section)
		assert.ErrorContains(t, err, h.configPath())
	}
	good := notifyHome(t, smtp+who+", digest_at: 06:45, quiet_hours: {from: 23:00, to: 05:00, urgent_breaks_them: false}}\n")
	c, err := good.readConfig()
	require.NoError(t, err, "times need no quotes")
	o, err := c.Notify.options(good)
	require.NoError(t, err)
	assert.True(t, o.Engineers[0].Quiet.HoldsUrgent)
	assert.Equal(t, []string{notify.EverySite}, o.Engineers[0].Sites)

	check("nobody is listed", "  smtp: {host: localhost, from: a@b.example}\n")
	check("smtp: host is missing", "  smtp: {from: a@b.example}\n")
	check("smtp: from:", "  smtp: {host: localhost, from: nobody}\n")
	check("mqtt: url is missing", "  mqtt: {username: x}\n")
	check("pages_url", "  pages_url: pages.example\n"+smtp+who+"}\n")
	check("number 1: name is missing", smtp+"    - {email: ada@firm.example, time_zone: Europe/London}\n")
	check("Ada: email: needs a mail server", "  engineers:\n"+who+"}\n")
	check("Ada: email:", smtp+"    - {name: Ada, email: ada, time_zone: Europe/London}\n")
	check("Ada: cannot be reached", smtp+"    - {name: Ada, time_zone: Europe/London}\n")
	check("Ada: webhook: url", smtp+who+", webhook: {url: x, secret_file: hook.secret}}\n")
	check("Ada: webhook: read webhook secret", smtp+who+", webhook: {url: 'https://x.example/', secret_file: none}}\n")
	check("Ada: mqtt: needs a broker", smtp+who+", mqtt: {topic: firm}}\n")
	check("Ada: time_zone is missing", smtp+"    - {name: Ada, email: ada@firm.example}\n")
	check(`"Europe/Londn" is not known`, smtp+"    - {name: Ada, email: ada@firm.example, time_zone: Europe/Londn}\n")
	check("write it as 07:30", smtp+who+", digest_at: 7.30}\n")
	check("quiet_hours: to:", smtp+who+", quiet_hours: {from: '22:00'}}\n")
	check("give them a length", smtp+who+", quiet_hours: {from: '22:00', to: '22:00'}}\n")
	check("within the quiet hours, 22:00 to 08:00", smtp+who+", quiet_hours: {from: '22:00', to: '08:00'}}\n")
	check(`"info" is not sent`, smtp+who+", severities: [info]}\n")
	check("listed twice", smtp+who+"}\n"+who+"}\n")
	check("sight", smtp+who+", sight: [x]}\n")
}

func TestNotifyByCommandLine(t *testing.T) {
	server := mailtest.Start(t, mailtest.Options{})
	hook := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { http.Error(w, "who are you", http.StatusForbidden) }))
	defer hook.Close()
	h := notifyHome(t, fmt.Sprintf(`  smtp: {host: 127.0.0.1, port: %d, from: watch@firm.example, tls: none}
  engineers:
    - {name: Ada, email: ada@firm.example, time_zone: Europe/London}
    - {name: Bea, webhook: {url: '%s', secret_file: hook.secret}, sites: [mil-cottage], time_zone: Europe/London}
`, server.Port(), hook.URL))
	assert.Equal(t, "Ada, e-mail to ada@firm.example: taken\n", must(t, "notify", "test", "--engineer", "Ada", "--home", h.dir))
	assert.Len(t, server.Letters(), 1)
	out, errOut, code := coldweek(t, "notify", "test", "--home", h.dir)
	assert.Equal(t, 1, code)
	assert.Contains(t, out, "Bea, webhook to "+hook.URL+": failed: webhook answers 403 Forbidden: who are you")
	assert.Contains(t, errOut, `did you mean "mill-cottage"?`)
	_, errOut, code = coldweek(t, "notify", "test", "--engineer", "Ad", "--home", h.dir)
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, `did you mean "Ada"?`)

	assert.Equal(t, "nothing waits\n", must(t, "notify", "pending", "--home", h.dir))
	c, err := h.parseConfig()
	require.NoError(t, err)
	n, err := c.Notify.open(t.Context(), h, nil, nil)
	require.NoError(t, err)
	require.NoError(t, n.Put(t.Context(), notify.Event{
		What: notify.Opened, Site: "mill-cottage", Kind: "low_flow", Severity: store.Attention, Since: time.Now(), Title: "Flow 310 l/h",
	}))
	require.NoError(t, n.Close())
	out = must(t, "notify", "pending", "--home", h.dir)
	assert.Regexp(t, `waiting +\S+Z +Ada +e-mail +digest: mill-cottage opened: Flow 310 l/h +0`, out)
	var list []map[string]any
	require.NoError(t, json.Unmarshal([]byte(must(t, "notify", "pending", "--json", "--home", h.dir)), &list))
	require.Len(t, list, 1)
	assert.Equal(t, "waiting", list[0]["state"])

	_, errOut, code = coldweek(t, "notify", "pending", "--home", newHome(t, "x", "id: x\ntime_zone: UTC\n"))
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, "has no notify section")
}
