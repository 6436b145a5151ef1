package deploy

import (
	"debug/elf"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/moby/patternmatcher"
	"github.com/moby/patternmatcher/ignorefile"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ignored returns what .dockerignore keeps from the builder, by Docker's own
// matcher.
func ignored(t *testing.T) *patternmatcher.PatternMatcher {
	t.Helper()
	file, err := os.Open(filepath.Join(root, ".dockerignore"))
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	patterns, err := ignorefile.ReadAll(file)
	require.NoError(t, err)
	matcher, err := patternmatcher.New(patterns)
	require.NoError(t, err)
	return matcher
}

// buildContext copies what the builder would get.
func buildContext(t *testing.T) string {
	t.Helper()
	to, matcher := t.TempDir(), ignored(t)
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		inside, _ := filepath.Rel(root, path)
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == ".git":
			return fs.SkipDir
		case d.IsDir():
			return nil
		}
		skip, err := matcher.MatchesOrParentMatches(inside)
		if skip || err != nil {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Dir(filepath.Join(to, inside)), 0o750); err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, inside), text, 0o600)
	}))
	return to
}

func TestSecretsStayOutOfTheImage(t *testing.T) {
	matcher := ignored(t)
	for _, path := range []string{
		"deploy/private/coldweek/broker.password", "deploy/authority/ca.key", "coldweek-home/data/readings.sqlite", ".git/config", ".env",
		"deploy/coldweek/sites/mill-cottage.yaml", "cmd/coldweek/main_test.go", "ingest/site/testdata/x.yaml",
	} {
		skip, err := matcher.MatchesOrParentMatches(path)
		require.NoError(t, err)
		assert.True(t, skip, path)
	}
	ignore := read(t, filepath.Join(root, ".gitignore"))
	assert.Contains(t, ignore, "/deploy/private/\n")
	assert.Contains(t, ignore, "/deploy/authority/\n")
}

// dockerfile returns the arguments of an instruction, in order.
func dockerfile(t *testing.T, instruction string) (found []string) {
	t.Helper()
	for _, match := range regexp.MustCompile(`(?m)^`+instruction+` (.*)$`).FindAllStringSubmatch(read(t, "Dockerfile"), -1) {
		found = append(found, match[1])
	}
	return found
}

// TestDockerfileBuilds runs the lines of the Dockerfile, but for the download
// of modules, in the context that the builder gets.
func TestDockerfileBuilds(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the whole program")
	}
	src, out := buildContext(t), t.TempDir()
	runs := dockerfile(t, "RUN")
	require.Equal(t, "go mod download", runs[0])
	require.True(t, strings.HasPrefix(runs[1], "go build "), runs[1])
	for _, line := range runs[1:] {
		c := exec.Command("sh", "-c", strings.ReplaceAll(line, "/out/", out+"/"))
		c.Dir = src
		// The image sets GOTOOLCHAIN=local: its Go must be new enough.
		c.Env = append(append(os.Environ(), "GOFLAGS=", "GOTOOLCHAIN=local"), dockerfile(t, "ENV")...)
		output, err := c.CombinedOutput()
		require.NoError(t, err, "%s: %s", line, output)
	}
	binary := filepath.Join(out, "coldweek")
	assertStatic(t, binary)

	// From where the image starts it, it finds its home without being told.
	workdir := filepath.Join(out, "root", dockerfile(t, "WORKDIR")[1])
	volume := filepath.Join(out, "root", dockerfile(t, "VOLUME")[0])
	for _, arguments := range [][]string{{"--help"}, {"site", "new", "mill-cottage"}, {"site", "check"}, {"health", "--help"}} {
		c := exec.Command(binary, arguments...)
		c.Dir = workdir
		output, err := c.CombinedOutput()
		assert.NoError(t, err, "%q: %s", arguments, output)
	}
	assert.FileExists(t, filepath.Join(volume, "sites", "mill-cottage.yaml"))
	assert.DirExists(t, filepath.Join(out, "root", "tmp"))
}

// assertStatic: nothing for a loader to do, so scratch is enough.
func assertStatic(t *testing.T, binary string) {
	t.Helper()
	file, err := elf.Open(binary)
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	assert.Nil(t, file.Section(".dynamic"))
	assert.Nil(t, file.Section(".symtab"), "symbols are stripped")
	for _, p := range file.Progs {
		assert.NotContains(t, []elf.ProgType{elf.PT_INTERP, elf.PT_DYNAMIC}, p.Type)
	}
}

// TestDockerfileAgrees: the image is what compose takes it for.
func TestDockerfileAgrees(t *testing.T) {
	s := compose(t).Services["coldweek"]
	assert.Equal(t, []string{s.User}, dockerfile(t, "USER"))
	var targets []string
	for _, v := range s.Volumes {
		targets = append(targets, v.Target)
	}
	home := dockerfile(t, "VOLUME")[0]
	assert.Contains(t, targets, home)
	assert.Contains(t, targets, home+"/coldweek.yaml")
	assert.Contains(t, targets, home+"/sites")
	assert.Equal(t, `["`+s.HealthCheck.Test[1]+`"]`, dockerfile(t, "ENTRYPOINT")[0])
	assert.Equal(t, "scratch", dockerfile(t, "FROM")[1])

	image := regexp.MustCompile(`^golang:(\d+\.\d+)\.\d+-\S+ AS build$`).FindStringSubmatch(dockerfile(t, "FROM")[0])
	require.NotNil(t, image, "an exact version of Go")
	assert.Contains(t, read(t, filepath.Join(root, "go.mod")), "\ngo "+image[1]+".")
	assert.Contains(t, read(t, filepath.Join(root, "cmd/coldweek/main.go")), `_ "time/tzdata"`, "scratch has no time zones")
}
