package deploy

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// alertRule is a rule of Prometheus.
type alertRule struct {
	Alert, Expr, For    string
	Labels, Annotations map[string]string
}

func alertRules(t *testing.T) []alertRule {
	t.Helper()
	var file struct {
		Groups []struct{ Rules []alertRule }
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "prometheus/rules/coldweek.yml")), &file))
	var all []alertRule
	for _, g := range file.Groups {
		all = append(all, g.Rules...)
	}
	require.NotEmpty(t, all)
	return all
}

func TestEveryAlertSaysWhatItIs(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range alertRules(t) {
		assert.False(t, seen[r.Alert], "%s is there twice", r.Alert)
		seen[r.Alert] = true
		assert.Contains(t, []string{"urgent", "attention"}, r.Labels["severity"], r.Alert)
		assert.NotEmpty(t, r.Annotations["summary"], r.Alert)
		assert.Regexp(t, `[.?]$`, r.Annotations["description"], r.Alert)
	}
}

// TestAlerts lets promtool play what happened; every alert must be seen to fire,
// and not to, when something did happen.
func TestAlerts(t *testing.T) {
	promtool := programtest.Find(t, "promtool", "prometheus")
	output, err := exec.Command(promtool, "test", "rules", "testdata/rules_test.yml").CombinedOutput()
	assert.NoError(t, err, "%s", output)
	var file struct {
		Tests []struct {
			Checks []struct {
				Name string `yaml:"alertname"`
				Want []any  `yaml:"exp_alerts"`
			} `yaml:"alert_rule_test"`
		}
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "testdata/rules_test.yml")), &file))
	fires, quiet := map[string]bool{}, map[string]bool{}
	for _, test := range file.Tests {
		for _, check := range test.Checks {
			if len(check.Want) > 0 {
				fires[check.Name] = true
			} else {
				quiet[check.Name] = true
			}
		}
	}
	for _, r := range alertRules(t) {
		assert.True(t, fires[r.Alert], "%s is never tested to fire", r.Alert)
		assert.True(t, quiet[r.Alert], "%s is never tested to be quiet", r.Alert)
	}
}

// TestWhoIsTold asks amtool where alerts go.
func TestWhoIsTold(t *testing.T) {
	amtool := programtest.Find(t, "amtool", "prometheus-alertmanager")
	output, err := exec.Command(amtool, "check-config", "alertmanager/alertmanager.yml").CombinedOutput()
	require.NoError(t, err, "%s", output)
	route := func(want string, labels ...string) {
		t.Helper()
		arguments := append([]string{"config", "routes", "test", "--config.file=alertmanager/alertmanager.yml", "--verify.receivers=" + want}, labels...)
		output, err := exec.Command(amtool, arguments...).CombinedOutput()
		assert.NoError(t, err, "%s", output)
	}
	for _, r := range alertRules(t) {
		route(r.Labels["severity"], "alertname="+r.Alert, "severity="+r.Labels["severity"], "site=mill-cottage")
	}
	route("attention", "alertname=SomebodyElses")
}

// TestInhibitionsNameAlertsThatAre: a name that no rule has would hold nothing
// back, in silence.
func TestInhibitionsNameAlertsThatAre(t *testing.T) {
	var file struct {
		Inhibit []struct {
			Source []string `yaml:"source_matchers"`
			Target []string `yaml:"target_matchers"`
			Equal  []string
		} `yaml:"inhibit_rules"`
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "alertmanager/alertmanager.yml")), &file))
	var names []string
	for _, r := range alertRules(t) {
		names = append(names, r.Alert)
	}
	require.NotEmpty(t, file.Inhibit)
	for _, rule := range file.Inhibit {
		assert.Subset(t, rule.Equal, []string{"job", "instance"}, "one coldweek says nothing of another")
		for _, matcher := range append(rule.Source, rule.Target...) {
			name, value, _ := strings.Cut(matcher, "=")
			if strings.Trim(name, "!") != "alertname" {
				continue
			}
			for _, alert := range strings.Split(strings.Trim(strings.TrimPrefix(value, "~"), `"`), "|") {
				assert.Contains(t, names, alert)
			}
		}
	}
}
