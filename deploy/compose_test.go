package deploy

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/compose-spec/compose-go/v2/types"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// root of the repository, seen from this folder.
const root = ".."

// compose reads docker-compose.yml as Compose does: variables filled in, checked
// by the schema, references resolved. The environment is only what is given.
func compose(t *testing.T, environment ...string) *types.Project {
	t.Helper()
	options, err := cli.NewProjectOptions([]string{filepath.Join(root, "docker-compose.yml")},
		cli.WithWorkingDirectory(root), cli.WithEnv(environment), cli.WithResolvedPaths(true))
	require.NoError(t, err)
	project, err := options.LoadProject(t.Context())
	require.NoError(t, err)
	return project
}

// rules are what every service must keep to. Each returns what is wrong, or
// nothing.
var rules = map[string]func(*types.Project, types.ServiceConfig) string{
	"health check": func(_ *types.Project, s types.ServiceConfig) string {
		if s.HealthCheck == nil || s.HealthCheck.Disable || len(s.HealthCheck.Test) < 2 {
			return "it has no health check"
		}
		return ""
	},
	"version": func(_ *types.Project, s types.ServiceConfig) string {
		// No dot before the colon: the image names no registry.
		exact := regexp.MustCompile(`^[a-z0-9-]+(/[a-z0-9-]+)?:v?\d+\.\d+\.\d+(-[a-z0-9.]+)?$`)
		if s.Build == nil && !exact.MatchString(s.Image) {
			return fmt.Sprintf("image %q has no exact version, or names a registry", s.Image)
		}
		return ""
	},
	"user": func(_ *types.Project, s types.ServiceConfig) string {
		if uid, _, err := userOf(s); err != nil || uid == 0 {
			return fmt.Sprintf("user %q is root or not a number", s.User)
		}
		return ""
	},
	"secrets by file": func(_ *types.Project, s types.ServiceConfig) string {
		secret := regexp.MustCompile(`(?i)PASSWORD|TOKEN|SECRET|KEY`)
		for name, value := range s.Environment {
			byFile := value != nil && strings.HasSuffix(name, "_FILE") && strings.HasPrefix(*value, "/run/secrets/")
			if secret.MatchString(name) && !byFile {
				return fmt.Sprintf("%s does not name a file of /run/secrets", name)
			}
		}
		return ""
	},
	"privileges": func(_ *types.Project, s types.ServiceConfig) string {
		if s.Privileged || len(s.CapAdd) > 0 || !slices.Equal(s.CapDrop, []string{"ALL"}) ||
			!slices.Contains(s.SecurityOpt, "no-new-privileges:true") || !s.ReadOnly {
			return "it keeps privileges, may gain some, or may write to its image"
		}
		return ""
	},
	"loopback": func(_ *types.Project, s types.ServiceConfig) string {
		for _, p := range s.Ports {
			if p.HostIP != "127.0.0.1" {
				return fmt.Sprintf("port %s is published on %q", p.Published, p.HostIP)
			}
		}
		if s.NetworkMode != "" {
			return "it leaves its networks"
		}
		return ""
	},
	"order": func(_ *types.Project, s types.ServiceConfig) string {
		for name, d := range s.DependsOn {
			if d.Condition != types.ServiceConditionHealthy {
				return "it does not wait until " + name + " is healthy"
			}
		}
		return ""
	},
	"bounds": func(_ *types.Project, s types.ServiceConfig) string {
		if s.Logging == nil || s.Logging.Options["max-size"] == "" || s.Logging.Options["max-file"] == "" {
			return "its log is not rotated"
		}
		if s.Deploy == nil || s.Deploy.Resources.Limits == nil || s.Deploy.Resources.Limits.MemoryBytes == 0 ||
			s.Deploy.Resources.Limits.NanoCPUs == 0 || s.Deploy.Resources.Limits.Pids == 0 {
			return "memory, processors or processes have no limit"
		}
		if s.Restart != "unless-stopped" {
			return "it does not come back by itself"
		}
		return ""
	},
	"mounts": mountFault,
}

// userOf returns the numbers of "uid:gid".
func userOf(s types.ServiceConfig) (uid, gid uint32, err error) {
	user, group, found := strings.Cut(s.User, ":")
	u, err := strconv.ParseUint(user, 10, 32)
	if err != nil || !found {
		return 0, 0, fmt.Errorf("user %q is not uid:gid", s.User)
	}
	g, err := strconv.ParseUint(group, 10, 32)
	return uint32(u), uint32(g), err
}

// mountFault checks that what is mounted from the host is there, and that the
// user of the container may use it.
func mountFault(p *types.Project, s types.ServiceConfig) string {
	for _, v := range s.Volumes {
		if v.Type != types.VolumeTypeBind {
			continue
		}
		if v.Bind == nil || v.Bind.CreateHostPath {
			return v.Source + " would be made as an empty folder where it is missing"
		}
		info, err := os.Stat(v.Source)
		if err != nil {
			return err.Error()
		}
		if fault := accessFault(s, v.Source, info, !v.ReadOnly && !info.IsDir()); fault != "" {
			return fault
		}
	}
	for _, secret := range s.Secrets {
		path := p.Secrets[secret.Source].File
		info, err := os.Stat(path)
		if err != nil {
			return err.Error()
		}
		if fault := accessFault(s, path, info, false); fault != "" {
			return fault
		}
	}
	return ""
}

// accessFault checks owner and mode as the kernel would; a user of 0 is another
// fault. Only root can give files
// the owners of a deployment.
func accessFault(s types.ServiceConfig, path string, info fs.FileInfo, write bool) string {
	uid, gid, err := userOf(s)
	if err != nil || uid == 0 || os.Getuid() != 0 {
		return ""
	}
	owner := info.Sys().(*syscall.Stat_t)
	shift := 0
	switch {
	case owner.Uid == uid:
		shift = 6
	case owner.Gid == gid:
		shift = 3
	}
	need := fs.FileMode(0o4)
	if info.IsDir() {
		need |= 0o1
	}
	if write {
		need |= 0o2
	}
	if got := info.Mode().Perm() >> shift; got&need != need {
		return fmt.Sprintf("user %s has no use of %s (%d:%d %s)", s.User, path, owner.Uid, owner.Gid, info.Mode())
	}
	return ""
}

// faults applies every rule to every service.
func faults(p *types.Project) (found []string) {
	for _, s := range p.Services {
		for name, rule := range rules {
			if fault := rule(p, s); fault != "" {
				found = append(found, name+": "+s.Name+": "+fault)
			}
		}
	}
	return found
}

func TestServicesKeepToTheRules(t *testing.T) {
	p := compose(t, makeSecrets(t).environment()...)
	assert.ElementsMatch(t, []string{"mosquitto", "influxdb", "coldweek", "prometheus", "alertmanager", "grafana"}, p.ServiceNames())
	assert.Empty(t, faults(p))
}

// TestEveryRuleCanFail breaks each rule once.
func TestEveryRuleCanFail(t *testing.T) {
	environment := makeSecrets(t).environment()
	value := func(s string) *string { return &s }
	for name, spoil := range map[string]func(*types.ServiceConfig){
		"health check": func(s *types.ServiceConfig) { s.HealthCheck.Disable = true },
		"version: grafana: image \"grafana/grafana:latest\"": func(s *types.ServiceConfig) { s.Image = "grafana/grafana:latest" },
		"version: grafana: image \"grafana/grafana\"":        func(s *types.ServiceConfig) { s.Image = "grafana/grafana" },
		"version: grafana: image \"host.example/a/b:1.2.3\"": func(s *types.ServiceConfig) { s.Image = "host.example/a/b:1.2.3" },
		"user":                         func(s *types.ServiceConfig) { s.User = "0:0" },
		"secrets by file":              func(s *types.ServiceConfig) { s.Environment["GF_SECURITY_SECRET_KEY"] = value("hush") },
		"privileges":                   func(s *types.ServiceConfig) { s.CapDrop = nil },
		"loopback: grafana: port 3000": func(s *types.ServiceConfig) { s.Ports[0].HostIP = "" },
		"loopback: grafana: it leaves": func(s *types.ServiceConfig) { s.NetworkMode = "host" },
		"order": func(s *types.ServiceConfig) {
			s.DependsOn["influxdb"] = types.ServiceDependency{Condition: types.ServiceConditionStarted}
		},
		"bounds: grafana: its log":                   func(s *types.ServiceConfig) { s.Logging = nil },
		"bounds: grafana: memory":                    func(s *types.ServiceConfig) { s.Deploy.Resources.Limits.MemoryBytes = 0 },
		"bounds: grafana: it does not come back":     func(s *types.ServiceConfig) { s.Restart = "no" },
		"mounts: grafana: stat":                      func(s *types.ServiceConfig) { s.Volumes[0].Source += "-gone" },
		"mounts: grafana: " + absolute(t, "grafana"): func(s *types.ServiceConfig) { s.Volumes[0].Bind.CreateHostPath = true },
	} {
		p := compose(t, environment...)
		s := p.Services["grafana"]
		spoil(&s)
		p.Services["grafana"] = s
		found := faults(p)
		if assert.Len(t, found, 1, name) {
			assert.Contains(t, found[0], name)
		}
	}
}

func absolute(t *testing.T, path string) string {
	t.Helper()
	absolute, err := filepath.Abs(path)
	require.NoError(t, err)
	return absolute
}

// TestForeignSecretIsNoticed: the owners are what the containers need, no more.
func TestForeignSecretIsNoticed(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root can give files to the users of containers")
	}
	s := makeSecrets(t)
	p := compose(t, s.environment()...)
	grafana := p.Services["grafana"]
	grafana.User = "4711:4711"
	p.Services["grafana"] = grafana
	assert.Contains(t, strings.Join(faults(p), "\n"), "user 4711:4711 has no use of "+s.file("grafana/admin.password"))
}

// TestDefaultsMatchTheScript: without variables, compose looks where
// deploy/secrets writes, and both name the same Mosquitto.
func TestDefaultsMatchTheScript(t *testing.T) {
	p := compose(t)
	for _, secret := range p.Secrets {
		assert.True(t, strings.HasPrefix(secret.File, absolute(t, "private")+"/"), secret.File)
	}
	script := read(t, "secrets")
	assert.Contains(t, script, "private=${COLDWEEK_PRIVATE:-$here/private}")
	assert.Contains(t, script, "image="+p.Services["mosquitto"].Image+" ")
	for name := range p.Volumes {
		assert.Contains(t, mounted(p), name, "a volume that nothing mounts")
	}
}

func mounted(p *types.Project) (names []string) {
	for _, s := range p.Services {
		for _, v := range s.Volumes {
			names = append(names, v.Source)
		}
	}
	return names
}

// TestTheBrokerCanFaceThePlants: the one port that may.
func TestTheBrokerCanFaceThePlants(t *testing.T) {
	p := compose(t, append(makeSecrets(t).environment(), "COLDWEEK_MQTT_ADDRESS=0.0.0.0")...)
	assert.Equal(t, []string{`loopback: mosquitto: port 8883 is published on "0.0.0.0"`}, faults(p))
}

// readers are the files in which a service reads of others and of secrets.
var readers = map[string][]string{
	"coldweek":     {"coldweek/coldweek.yaml"},
	"prometheus":   {"prometheus/prometheus.yml"},
	"alertmanager": {"alertmanager/alertmanager.yml"},
	"grafana":      {"grafana/provisioning/datasources/coldweek.yaml"},
}

// TestAddressesAreServices: every address in the files is a service that can be
// reached from there, and every secret one that is mounted there.
func TestAddressesAreServices(t *testing.T) {
	p := compose(t)
	address := regexp.MustCompile(`(?:url: \w+://|targets: \[")([a-z0-9.]+):\d+`)
	secret := regexp.MustCompile(`/run/secrets/(\w+)`)
	for _, reader := range p.Services {
		text := ""
		for _, path := range readers[reader.Name] {
			text += read(t, path)
		}
		for _, match := range address.FindAllStringSubmatch(text, -1) {
			assert.True(t, match[1] == "127.0.0.1" || reaches(p, reader, match[1]), "%s names %s", reader.Name, match[1])
		}
		for _, v := range reader.Environment {
			text += *v + "\n"
		}
		var given []string
		for _, s := range reader.Secrets {
			given = append(given, s.Source)
		}
		for _, match := range secret.FindAllStringSubmatch(text, -1) {
			assert.Contains(t, given, match[1], reader.Name)
		}
	}
	assert.Len(t, address.FindAllString(read(t, "coldweek/coldweek.yaml"), -1), 2)
	assert.False(t, reaches(p, p.Services["mosquitto"], "influxdb"))
}

func reaches(p *types.Project, from types.ServiceConfig, name string) bool {
	to, ok := p.Services[name]
	for network := range to.Networks {
		if _, shared := from.Networks[network]; ok && shared {
			return true
		}
	}
	return false
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}
