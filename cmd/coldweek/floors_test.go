package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// root of the repository, seen from this package's folder.
const root = "../.."

// imports is the whole house: what each package may import of this module.
// A package that is not listed fails the test, so every new one is placed on
// purpose. Floors go down: cmd, dashboards, analysis, ingest.
var imports = map[string][]string{
	"ingest":                         {},
	"ingest/site":                    {"ingest", "ingest/site/catalogue"},
	"ingest/site/catalogue":          {},
	"ingest/payload":                 {"ingest", "ingest/site"},
	"ingest/store":                   {"ingest"},
	"ingest/store/block":             {"ingest/store/decoding"},
	"ingest/store/decoding":          {},
	"ingest/store/sqlitefile":        {},
	"ingest/store/local":             {"ingest", "ingest/store", "ingest/store/block", "ingest/store/sqlitefile"},
	"ingest/store/journal":           {"ingest", "ingest/store", "ingest/store/decoding", "ingest/store/sqlitefile"},
	"ingest/store/storetest":         {"ingest", "ingest/rig", "ingest/store"},
	"ingest/store/influx":            {"ingest", "ingest/store", "ingest/store/journal"},
	"ingest/store/influx/influxtest": {"ingest/programtest"},
	"ingest/broker":                  {"ingest", "ingest/site", "ingest/receive"},
	"ingest/receive":                 {"ingest", "ingest/trust", "ingest/store"},
	"ingest/receive/brokertest":      {"ingest", "ingest/programtest"},
	"ingest/programtest":             {},
	"ingest/trust":                   {},
	"ingest/checktable":              {},
	"ingest/load":                    {"ingest", "ingest/site", "ingest/store", "ingest/payload"},
	"ingest/rig":                     {"ingest", "ingest/site", "ingest/rig/instrument", "ingest/rig/weather"},
	"ingest/rig/instrument":          {},
	"ingest/rig/weather":             {},
	"ingest/rig/publish":             {"ingest", "ingest/site", "ingest/rig"},

	"analysis/fluid":     {},
	"analysis/pipework":  {"ingest/site", "ingest/site/catalogue", "analysis/fluid"},
	"analysis/scenario":  {"ingest"},
	"analysis/metrology": {},
	"analysis/robust":    {},
	"analysis/trace":     {"ingest", "analysis/fluid"},
	"analysis/operation": {"ingest", "analysis/trace"},
	"analysis/siteday":   {"ingest", "analysis/metrology", "analysis/trace", "analysis/operation"},
	"analysis/sensor": {"ingest", "analysis/fluid", "analysis/metrology", "analysis/robust", "analysis/trace",
		"analysis/operation", "analysis/siteday"},
	"analysis/emitter":    {"analysis/robust"},
	"analysis/curve":      {"analysis/comfort", "analysis/efficiency", "analysis/emitter", "analysis/robust", "analysis/siteday"},
	"analysis/defrost":    {"analysis/robust", "analysis/operation", "analysis/siteday"},
	"analysis/cycling":    {"analysis/operation", "analysis/siteday"},
	"analysis/flowrate":   {"ingest", "analysis/robust", "analysis/trace", "analysis/operation", "analysis/siteday"},
	"analysis/playtest":   {"ingest", "ingest/rig", "analysis/trace", "analysis/operation", "analysis/siteday"},
	"analysis/efficiency": {"analysis/metrology", "analysis/operation", "analysis/siteday"},
	"analysis/season":     {"analysis/efficiency", "analysis/operation", "analysis/robust", "analysis/siteday"},
	"analysis/capacity":   {"analysis/efficiency", "analysis/robust", "analysis/siteday"},
	"analysis/comfort":    {"analysis/siteday"},
	"analysis/heatloss":   {"analysis/operation", "analysis/robust", "analysis/siteday"},
	"analysis/watch": {"ingest", "analysis/curve", "analysis/cycling", "analysis/defrost", "analysis/flowrate", "analysis/operation", "analysis/robust",
		"analysis/sensor", "analysis/siteday", "analysis/trace"},
	"analysis/review": {"ingest", "analysis/capacity", "analysis/comfort", "analysis/curve", "analysis/cycling", "analysis/defrost",
		"analysis/flowrate", "analysis/heatloss", "analysis/operation", "analysis/robust", "analysis/siteday", "analysis/watch"},
	"analysis/job": {"ingest", "ingest/site", "ingest/store", "analysis/fluid", "analysis/metrology", "analysis/robust", "analysis/trace",
		"analysis/operation", "analysis/siteday", "analysis/sensor", "analysis/flowrate", "analysis/efficiency", "analysis/defrost", "analysis/cycling",
		"analysis/capacity", "analysis/comfort", "analysis/season", "analysis/heatloss", "analysis/emitter", "analysis/curve", "analysis/review", "analysis/watch"},

	"dashboards/chart":                  {"ingest"},
	"dashboards/chart/pdf":              {"dashboards/chart"},
	"dashboards/grafana":                {},
	"dashboards/login":                  {},
	"dashboards/metrics":                {"ingest", "ingest/receive", "ingest/store", "analysis/job", "analysis/watch"},
	"dashboards/metrics/prometheustest": {"ingest/programtest"},
	"dashboards/note": {"analysis/comfort", "analysis/job", "analysis/season", "analysis/watch", "dashboards/chart", "dashboards/note/picture",
		"dashboards/note/words", "ingest/site", "ingest/store"},
	"dashboards/note/archive":    {"dashboards/note"},
	"dashboards/note/dispatch":   {"analysis/job", "dashboards/note", "dashboards/note/archive", "dashboards/note/render", "dashboards/note/words", "dashboards/notify", "dashboards/notify/deliver", "ingest/site"},
	"dashboards/note/notetest":   {"analysis/job", "dashboards/note", "ingest", "ingest/rig", "ingest/site", "ingest/store/local"},
	"dashboards/note/picture":    {"dashboards/chart"},
	"dashboards/note/render":     {"dashboards/chart", "dashboards/chart/pdf", "dashboards/note", "dashboards/note/words"},
	"dashboards/note/words":      {},
	"dashboards/notify":          {"ingest/store", "ingest/store/sqlitefile", "dashboards/notify/deliver"},
	"dashboards/notify/deliver":  {"ingest/trust"},
	"dashboards/notify/mailtest": {},
	"dashboards/web": {"ingest", "ingest/site", "ingest/store", "ingest/receive", "analysis/capacity", "analysis/comfort", "analysis/curve", "analysis/cycling",
		"analysis/defrost", "analysis/efficiency", "analysis/flowrate", "analysis/heatloss", "analysis/job", "analysis/operation", "analysis/pipework", "analysis/review", "analysis/robust",
		"analysis/season", "analysis/siteday", "analysis/trace", "analysis/watch", "dashboards/chart"},

	"deploy": {},
}

// impure is what the computing packages must not touch: they are functions
// over columns, and time is an argument.
var impure = []string{"context", "log", "log/slog", "net", "net/http", "database/sql", "os", "os/exec", "io/fs"}

// clocked are calls of the machine's own clock.
var clocked = []string{"Now", "Since", "Until", "Sleep", "After", "Tick", "NewTimer", "NewTicker"}

func pure(pkg string) bool {
	return strings.HasPrefix(pkg, "analysis/") && pkg != "analysis/job" || pkg == "ingest/store/block" || pkg == "ingest/store/decoding" || pkg == "dashboards/chart"
}

func TestImportsOnlyGoDown(t *testing.T) {
	seen := map[string]bool{}
	walkSource(t, func(path string, file *ast.File) {
		pkg := filepath.ToSlash(filepath.Dir(path))
		seen[pkg] = true
		if strings.HasPrefix(pkg, "cmd/") {
			return
		}
		allowed, listed := imports[pkg]
		if !listed {
			t.Errorf("package %s is not in the import table of floors_test.go; place it there on purpose", pkg)
			return
		}
		for _, spec := range file.Imports {
			name, err := strconv.Unquote(spec.Path.Value)
			require.NoError(t, err)
			if inner, ours := strings.CutPrefix(name, "coldweek/"); ours && !slices.Contains(allowed, inner) {
				t.Errorf("%s imports %s, which is not below it", path, inner)
			}
			if pure(pkg) && slices.Contains(impure, name) {
				t.Errorf("%s imports %s: computing packages are pure", path, name)
			}
		}
		if pure(pkg) {
			checkNoClock(t, path, file)
		}
	})
	for pkg := range imports {
		if !seen[pkg] {
			t.Errorf("the import table lists %s, which is no package", pkg)
		}
	}
}

func checkNoClock(t *testing.T, path string, file *ast.File) {
	ast.Inspect(file, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clocked, s.Sel.Name) {
				t.Errorf("%s uses time.%s: time is an argument", path, s.Sel.Name)
			}
		}
		return true
	})
}

func TestTopLevelIsFixed(t *testing.T) {
	fixed := []string{"cmd", "ingest", "analysis", "dashboards", "deploy", "testdata",
		"go.mod", "go.sum", "README.md", "DEVELOPERS.md", "docker-compose.yml", "LICENSE"}
	entries, err := filepath.Glob(filepath.Join(root, "*"))
	require.NoError(t, err)
	for _, e := range entries {
		name := filepath.Base(e)
		if !strings.HasPrefix(name, ".") && !slices.Contains(fixed, name) && name != "coldweek-home" {
			t.Errorf("%s stands at the top level, which is fixed: %v", name, fixed)
		}
	}
}

// walkSource parses every Go file of the module that is no test.
func walkSource(t *testing.T, visit func(path string, file *ast.File)) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && path != root):
			return fs.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		inside, err := filepath.Rel(root, path)
		visit(inside, file)
		return err
	})
	require.NoError(t, err)
}

func TestEveryPackageHasADoc(t *testing.T) {
	documented := map[string]bool{}
	walkSource(t, func(path string, file *ast.File) {
		pkg := filepath.Dir(path)
		documented[pkg] = documented[pkg] || file.Doc != nil
	})
	for pkg, ok := range documented {
		if !ok {
			t.Errorf("package %s has no package comment", pkg)
		}
	}
}
