package deploy

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

func TestPrometheusConfiguration(t *testing.T) {
	promtool := programtest.Find(t, "promtool", "prometheus")
	output, err := exec.Command(promtool, "check", "config", "prometheus/prometheus.yml").CombinedOutput()
	require.NoError(t, err, "%s", output)
	assert.Contains(t, string(output), "1 rule files found")
	assert.Contains(t, read(t, "prometheus/prometheus.yml"), `"coldweek:8137"`)
	assert.Contains(t, read(t, "coldweek/coldweek.yaml"), "listen: 0.0.0.0:8137")
}

// TestAlertsAskForWhatThereIs: every metric in the rules is one of coldweek's.
func TestAlertsAskForWhatThereIs(t *testing.T) {
	sources, err := filepath.Glob(filepath.Join(root, "dashboards/metrics/*.go"))
	require.NoError(t, err)
	text := ""
	for _, path := range sources {
		text += read(t, path)
	}
	asked := map[string]bool{}
	for _, rule := range alertRules(t) {
		for _, name := range regexp.MustCompile(`coldweek_\w+`).FindAllString(rule.Expr, -1) {
			asked[name] = true
		}
	}
	assert.Greater(t, len(asked), 15)
	_, after, _ := strings.Cut(text, "const names = `") // of the page, as its test has them
	names, _, _ := strings.Cut(after, "`")
	for name := range asked {
		assert.Contains(t, strings.Fields(names), name)
	}
}

// unit returns the systemd unit with a program that is here.
func unit(t *testing.T) string {
	t.Helper()
	text := read(t, "systemd/coldweek.service")
	require.Contains(t, text, "ExecStart=/usr/local/bin/coldweek serve")
	path := filepath.Join(t.TempDir(), "coldweek.service")
	text = strings.ReplaceAll(text, "ExecStart=/usr/local/bin/coldweek ", "ExecStart=/bin/true ")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// TestSystemdUnit asks systemd-analyze, where there is one. The threshold is
// ten times the exposure, of which 10 is the worst; this unit has 1.2.
func TestSystemdUnit(t *testing.T) {
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not installed (Debian: apt-get install systemd)")
	}
	output, err := exec.Command(analyze, "verify", unit(t)).CombinedOutput()
	assert.NoError(t, err, "%s", output)
	assert.Empty(t, string(output))
	output, err = exec.Command(analyze, "security", "--offline=true", "--threshold=15", "--no-pager", unit(t)).CombinedOutput()
	assert.NoError(t, err, "%s", output)
}

// TestGrafanaProvisioning: the datasources have the names by which dashboards
// ask for them, and none holds a secret.
func TestGrafanaProvisioning(t *testing.T) {
	var provisioned struct {
		Datasources []struct {
			UID, Type      string
			SecureJSONData map[string]string `yaml:"secureJsonData"`
		}
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "grafana/provisioning/datasources/coldweek.yaml")), &provisioned))
	types := map[string]string{}
	for _, d := range provisioned.Datasources {
		types[d.UID] = d.Type
		for _, secret := range d.SecureJSONData {
			assert.Regexp(t, `^Token \$__file\{/run/secrets/\w+\}$`, secret)
		}
	}
	dashboards, err := filepath.Glob(filepath.Join(root, "dashboards/grafana/*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, dashboards)
	for _, path := range dashboards {
		var dashboard any
		require.NoError(t, json.Unmarshal([]byte(read(t, path)), &dashboard))
		sources := map[string]string{}
		gatherSources(dashboard, sources)
		assert.NotEmpty(t, sources, path)
		for uid, kind := range sources {
			assert.Equal(t, types[uid], kind, "%s asks for %s", path, uid)
		}
	}
	p := compose(t)
	var targets []string
	for _, v := range p.Services["grafana"].Volumes {
		targets = append(targets, v.Target)
	}
	for _, path := range regexp.MustCompile(`path: (\S+)`).FindAllStringSubmatch(read(t, "grafana/provisioning/dashboards/coldweek.yaml"), -1) {
		assert.Contains(t, targets, path[1])
	}
}

// gatherSources finds uid and type of every datasource that a dashboard asks,
// but for those that Grafana has of itself ("-- Mixed --").
func gatherSources(node any, found map[string]string) {
	switch n := node.(type) {
	case []any:
		for _, child := range n {
			gatherSources(child, found)
		}
	case map[string]any:
		if source, ok := n["datasource"].(map[string]any); ok {
			uid, _ := source["uid"].(string)
			kind, _ := source["type"].(string)
			if !strings.HasPrefix(uid, "-- ") {
				found[uid] = kind
			}
		}
		for _, child := range n {
			gatherSources(child, found)
		}
	}
}
