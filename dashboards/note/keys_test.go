package note_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/rig"
)

func goodPlant() rig.Plant { return rig.Houses()[0] }

// TestEveryTextIsUsedAndFilledIn: the keys that the code asks for are there with
// the names it fills in, and no text is there that nobody asks for.
func TestEveryTextIsUsedAndFilledIn(t *testing.T) {
	text, err := os.ReadFile("words/languages/en.yaml")
	require.NoError(t, err)
	var english struct {
		Texts map[string]any `yaml:"texts"`
	}
	require.NoError(t, yaml.Unmarshal(text, &english))
	names := map[string]string{}
	for key, value := range english.Texts {
		if forms, counts := value.(map[string]any); counts {
			value = forms["other"]
		}
		names[key] = value.(string)
	}
	literals := map[string]bool{}
	for _, dir := range []string{".", "words"} {
		collect(t, dir, literals)
	}
	used := func(key string) bool {
		if literals[key] {
			return true
		}
		for literal := range literals { // keys put together of a beginning and a word
			if strings.HasSuffix(literal, "_") && strings.HasPrefix(key, literal) {
				return true
			}
		}
		return false
	}
	for key := range names {
		assert.True(t, used(key), "nobody asks for %s", key)
	}
	looksLikeKey := regexp.MustCompile(`^(lead|figure|got|chart|cost|efficiency|compared|cold|defrost|carbon|noticed|period|advice|coverage|gap|care|contact|foot|mail|engineer|missing)_[a-z_]+$`)
	for literal := range literals {
		if looksLikeKey.MatchString(literal) && !strings.HasSuffix(literal, "_") && !strings.Contains(literal, "kwh") && literal != "noticed_shown" {
			assert.Contains(t, names, literal, "there is no text %s", literal)
		}
	}
	for key, args := range filled(t) {
		for _, m := range regexp.MustCompile(`\{([a-z_]+)\}`).FindAllStringSubmatch(names[key], -1) {
			assert.True(t, m[1] == "n" || slices.Contains(args, m[1]), "%s: nobody fills in {%s}", key, m[1])
		}
	}
}

func files(t *testing.T, dir string) []*ast.File {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	var all []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		require.NoError(t, err)
		all = append(all, file)
	}
	return all
}

func collect(t *testing.T, dir string, literals map[string]bool) {
	t.Helper()
	for _, file := range files(t, dir) {
		ast.Inspect(file, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				if s, err := strconv.Unquote(l.Value); err == nil {
					literals[s] = true
				}
			}
			return true
		})
	}
}

// filled are the names that calls of say with a constant key and constant names
// fill in.
func filled(t *testing.T) map[string][]string {
	t.Helper()
	all := map[string][]string{}
	for _, file := range files(t, ".") {
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) != 2 {
				return true
			}
			name, isSelector := call.Fun.(*ast.SelectorExpr)
			key, isKey := call.Args[0].(*ast.BasicLit)
			if !isSelector || name.Sel.Name != "say" || !isKey {
				return true
			}
			literal, isLiteral := call.Args[1].(*ast.CompositeLit)
			if id, isNil := call.Args[1].(*ast.Ident); !isLiteral && !(isNil && id.Name == "nil") {
				return true
			}
			k, _ := strconv.Unquote(key.Value)
			all[k] = append(all[k], "")
			if literal != nil {
				for _, e := range literal.Elts {
					arg, _ := strconv.Unquote(e.(*ast.KeyValueExpr).Key.(*ast.BasicLit).Value)
					all[k] = append(all[k], arg)
				}
			}
			return true
		})
	}
	return all
}
