// Package prometheustest runs Prometheus on loopback for tests that need what
// really scrapes us: with its data in a folder of the test, a free port, and an
// end with its test.
package prometheustest

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/api"
	v1 "github.com/prometheus/client_golang/api/prometheus/v1"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/programtest"
)

// Server is a Prometheus process that ends with its test.
type Server struct {
	*programtest.Process
	url string
	api v1.API
}

// Start runs Prometheus, which scrapes /metrics of each job's host:port every
// second and evaluates the rules of these files as often, and returns when it is
// ready. Without the program the test is skipped,
// or fails when COLDWEEK_ALL=1.
func Start(t testing.TB, targets map[string]string, ruleFiles ...string) *Server {
	t.Helper()
	binary := programtest.Find(t, "prometheus", "prometheus")
	dir := t.TempDir()
	config := filepath.Join(dir, "prometheus.yml")
	require.NoError(t, os.WriteFile(config, []byte(configuration(t, targets, ruleFiles)), 0o600))
	address := fmt.Sprintf("127.0.0.1:%d", programtest.FreePort(t))
	s := &Server{url: "http://" + address}
	client, err := api.NewClient(api.Config{Address: s.url, Client: &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}})
	require.NoError(t, err)
	s.api = v1.NewAPI(client)
	s.Process = programtest.New(t, filepath.Join(dir, "prometheus.log"), func() *exec.Cmd {
		return exec.Command(binary, "--config.file="+config, "--storage.tsdb.path="+filepath.Join(dir, "data"),
			"--web.listen-address="+address, "--log.level=warn")
	})
	require.True(t, s.Begin(s.ready, time.Minute), "prometheus does not get ready; see %s", s.Log())
	t.Cleanup(s.Stop)
	return s
}

func configuration(t testing.TB, targets map[string]string, ruleFiles []string) string {
	var text strings.Builder
	text.WriteString("global: {scrape_interval: 1s, scrape_timeout: 1s, evaluation_interval: 1s}\nrule_files:\n")
	for _, path := range ruleFiles {
		absolute, err := filepath.Abs(path)
		require.NoError(t, err)
		fmt.Fprintf(&text, "- %q\n", absolute)
	}
	text.WriteString("scrape_configs:\n")
	for _, job := range slices.Sorted(maps.Keys(targets)) {
		fmt.Fprintf(&text, "- {job_name: %q, static_configs: [{targets: [%q]}]}\n", job, targets[job])
	}
	return text.String()
}

func (s *Server) ready() bool {
	answer, err := http.Get(s.url + "/-/ready")
	return err == nil && answer.Body.Close() == nil && answer.StatusCode == http.StatusOK
}

// URL returns the address of its pages and HTTP API.
func (s *Server) URL() string { return s.url }

// Query evaluates an expression now. The value must be an instant vector; one
// without samples is not an error.
func (s *Server) Query(expr string) (model.Vector, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	value, _, _, err := s.api.Query(ctx, expr, time.Time{})
	if err != nil {
		return nil, fmt.Errorf("query %q: %w", expr, err)
	}
	vector, ok := value.(model.Vector)
	if !ok {
		return nil, fmt.Errorf("query %q gives a %s; an instant vector is wanted", expr, value.Type())
	}
	return vector, nil
}

// Alerts returns the state of every alerting rule by its name: inactive, pending
// or firing. A rule that could not be evaluated is an error.
func (s *Server) Alerts() (map[string]string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	loaded, err := s.api.Rules(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("read rules: %w", err)
	}
	states := map[string]string{}
	for _, group := range loaded.Groups {
		for _, rule := range group.Rules {
			alert, ok := rule.(v1.AlertingRule)
			if !ok {
				continue
			}
			if alert.Health == v1.RuleHealthBad {
				return nil, fmt.Errorf("evaluate alert %s: %s", alert.Name, alert.LastError)
			}
			states[alert.Name] = alert.State
		}
	}
	return states, nil
}
