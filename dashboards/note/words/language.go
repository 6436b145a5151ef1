package words

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

//go:embed languages/*.yaml
var files embed.FS

// English is the language that every other is held to.
const English = "en"

// Language is one language of the note.
type Language struct {
	Tag string // of the file, such as "de"

	tag              language.Tag
	months, weekdays []string
	texts            map[string]wording
	findings         map[string]Finding
	style            style
	capitalNouns     bool
}

// Finding is what a homeowner is told of a kind of finding.
type Finding struct{ title, means, next template }

// file is a language as it is written down.
type file struct {
	Tag      string              `yaml:"tag"`
	Months   []string            `yaml:"months"`
	Weekdays []string            `yaml:"weekdays"`
	Capital  bool                `yaml:"capital_nouns"` // nouns begin large within a sentence
	Texts    map[string]any      `yaml:"texts"`
	Findings map[string]threeWay `yaml:"findings"`
}

type threeWay struct {
	Title string `yaml:"title"`
	Means string `yaml:"means"`
	Next  string `yaml:"next"`
}

// Noun writes a name that a record has in small letters, with underscores for
// blanks, as it stands within a sentence.
func (l *Language) Noun(name string) string {
	name = strings.ReplaceAll(name, "_", " ")
	if first, size := utf8.DecodeRuneInString(name); l.capitalNouns && size > 0 {
		name = string(unicode.ToUpper(first)) + name[size:]
	}
	return name
}

// Tags are the languages there are.
func Tags() []string {
	var tags []string
	names, _ := fs.Glob(files, "languages/*.yaml") // the pattern is right
	for _, name := range names {
		tags = append(tags, strings.TrimSuffix(path.Base(name), ".yaml"))
	}
	return tags
}

var (
	loading sync.Mutex
	loaded  = map[string]*Language{}
)

// Load returns a language by its tag. The error names those there are.
func Load(tag string) (*Language, error) {
	if !slices.Contains(Tags(), tag) {
		return nil, fmt.Errorf("language %q: there are no texts for it, only for %s", tag, strings.Join(Tags(), ", "))
	}
	loading.Lock()
	defer loading.Unlock()
	if l := loaded[tag]; l != nil {
		return l, nil
	}
	text, err := files.ReadFile("languages/" + tag + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("language %q: %w", tag, err)
	}
	l, err := parse(tag, text)
	if err != nil {
		return nil, fmt.Errorf("language %q: %w", tag, err)
	}
	loaded[tag] = l
	return l, nil
}

func parse(name string, text []byte) (*Language, error) {
	var f file
	if err := yaml.UnmarshalWithOptions(text, &f, yaml.Strict()); err != nil {
		return nil, errors.New(yaml.FormatError(err, false, true))
	}
	l := &Language{Tag: name, months: f.Months, weekdays: f.Weekdays, texts: map[string]wording{}, findings: map[string]Finding{}, capitalNouns: f.Capital}
	var err error
	if l.tag, err = language.Parse(f.Tag); err != nil {
		return nil, fmt.Errorf("tag %q: %w", f.Tag, err)
	}
	if len(f.Months) != 12 || len(f.Weekdays) != 7 {
		return nil, fmt.Errorf("it has %d months and %d weekdays; write 12 and 7", len(f.Months), len(f.Weekdays))
	}
	for key, value := range f.Texts {
		if l.texts[key], err = wordingOf(value); err != nil {
			return nil, fmt.Errorf("texts: %s: %w", key, err)
		}
	}
	for kind, said := range f.Findings {
		l.findings[kind] = Finding{templateOf(said.Title), templateOf(said.Means), templateOf(said.Next)}
	}
	l.style = styleOf(l.tag)
	return l, nil
}

// wording is a text: one template, or one for each plural form.
type wording map[plural.Form]template

var forms = map[string]plural.Form{
	"zero": plural.Zero, "one": plural.One, "two": plural.Two, "few": plural.Few, "many": plural.Many, "other": plural.Other,
}

func wordingOf(value any) (wording, error) {
	switch v := value.(type) {
	case string:
		return wording{plural.Other: templateOf(v)}, nil
	case map[string]any:
		m := wording{}
		for name, text := range v {
			form, known := forms[name]
			words, isText := text.(string)
			if !known || !isText {
				return nil, fmt.Errorf("%q is no plural form with its text", name)
			}
			m[form] = templateOf(words)
		}
		if len(m[plural.Other]) == 0 {
			return nil, errors.New("the form other is missing")
		}
		return m, nil
	}
	return nil, fmt.Errorf("%v is no text", value)
}

// template is words and, at odd places, the names of what is filled in.
type template []string

func templateOf(text string) template {
	var t template
	for {
		words, rest, open := strings.Cut(text, "{")
		t = append(t, words)
		if !open {
			return t
		}
		name, after, _ := strings.Cut(rest, "}")
		t, text = append(t, name), after
	}
}

// Args are what is filled into a text, by name.
type Args map[string]Text

func (t template) fill(args Args) Text {
	var text Text
	for i, part := range t {
		switch {
		case i%2 == 0 && part != "":
			text = append(text, Piece{Kind: Words, Text: part})
		case i%2 == 1:
			text = append(text, args[part]...)
		}
	}
	return text
}

// Say returns a text. A key that is not there gives the key itself; the tests
// see to it that none is asked for.
func (l *Language) Say(key string, args Args) Text {
	m, known := l.texts[key]
	if !known {
		return Plain(key)
	}
	return m[plural.Other].fill(args)
}

// SayCount returns the text of the plural form for a whole number, to which v is
// rounded; {n} is filled in too.
func (l *Language) SayCount(key string, v float64, source Source, args Args) Text {
	n := int(math.Round(v))
	m, known := l.texts[key]
	if !known {
		return Plain(key)
	}
	t, has := m[plural.Cardinal.MatchPlural(l.tag, n, 0, 0, 0, 0)]
	if !has {
		t = m[plural.Other]
	}
	all := Args{"n": l.Number(math.Round(v), 0, source)}
	all["n"][0].Figure.Value = v
	for name, text := range args {
		all[name] = text
	}
	return t.fill(all)
}

// Has says whether there is a text of that key.
func (l *Language) Has(key string) bool { return len(l.texts[key]) > 0 }

// FindingOther is told of kinds without words of their own.
const FindingOther = "other"

// Finding returns what a homeowner is told of a kind of finding: what it is, what
// it means and what happens next.
func (l *Language) Finding(kind string, args Args) (title, means, next Text) {
	f, known := l.findings[kind]
	if !known {
		f = l.findings[FindingOther]
	}
	return f.title.fill(args), f.means.fill(args), f.next.fill(args)
}
