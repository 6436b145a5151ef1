package site

import (
	"errors"
	"fmt"
	"reflect"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/invopop/jsonschema"

	"coldweek/ingest"
)

// decoder fills a record from YAML nodes and notes every problem on the way.
// It leaves out what it could not read, so that the rest is still checked.
type decoder struct {
	source
	problems Problems
	numbers  map[string]float64 // by path, those read without a problem
}

func newDecoder(file string) *decoder {
	return &decoder{source: source{file: file, at: map[string]position{}}, numbers: map[string]float64{}}
}

func (d *decoder) reportAt(at position, field, message, fix string) {
	d.problems = append(d.problems, Problem{
		File: d.file, Line: at.line, Column: at.column, Field: shorten(field), Message: message, Fix: fix,
	})
}

func (d *decoder) report(field, message, fix string) {
	d.reportAt(d.find(field), field, message, fix)
}

func (d *decoder) warn(field, message, fix string) {
	d.report(field, message, fix)
	d.problems[len(d.problems)-1].Warning = true
}

// value reads a node into a Go value and says whether it could.
func (d *decoder) value(node ast.Node, into reflect.Value, limits *jsonschema.Schema, path string) bool {
	if p := unsupported(node); p != nil {
		d.reportAt(d.at[path], path, p.Message, p.Fix)
		return false
	}
	switch into.Kind() {
	case reflect.Pointer:
		target := reflect.New(into.Type().Elem())
		ok := d.value(node, target.Elem(), limits, path)
		if ok {
			into.Set(target)
		}
		return ok
	case reflect.Struct:
		return d.section(node, into, path)
	case reflect.Map:
		return d.table(node, into, limits, path)
	case reflect.Slice:
		return d.list(node, into, limits, path)
	case reflect.Bool:
		return d.truth(node, into, path)
	case reflect.String:
		return d.text(node, into, limits, path)
	}
	return d.number(node, into, limits, path)
}

// unsupported refuses what a record has no need for. Aliases in particular
// would let a small file grow without bound.
func unsupported(node ast.Node) *Problem {
	switch node.(type) {
	case nil, *ast.NullNode:
		return &Problem{Message: "has no value", Fix: "give it one or leave the key out"}
	case *ast.AnchorNode, *ast.AliasNode:
		return &Problem{Message: "anchors and aliases are not read in a site record", Fix: "write the value out"}
	case *ast.TagNode:
		return &Problem{Message: "YAML tags are not read in a site record", Fix: "write the value without the tag"}
	}
	return nil
}

// entry is one key of a mapping and its value.
type entry struct {
	key  string
	at   position
	node ast.Node
}

// entries returns the pairs of a mapping; keys given twice, merged or complex
// are reported and left out.
func (d *decoder) entries(node ast.Node, path string) ([]entry, bool) {
	var pairs []*ast.MappingValueNode
	switch n := node.(type) {
	case *ast.MappingNode:
		pairs = n.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{n}
	default:
		return nil, false
	}
	first := map[string]int{}
	var list []entry
	for _, pair := range pairs {
		at := positionOf(pair.Key)
		scalar, ok := pair.Key.(ast.ScalarNode)
		if _, merge := pair.Key.(*ast.MergeKeyNode); merge || !ok {
			d.reportAt(at, path, "this is no plain key", "write a word and a colon")
			continue
		}
		key := scalar.GetToken().Value
		if line, given := first[key]; given {
			d.reportAt(at, path, fmt.Sprintf("key %s is given twice, first on line %d", quote(key), line), "keep one of them")
			continue
		}
		first[key] = at.line
		list = append(list, entry{key, at, pair.Value})
	}
	return list, true
}

// section reads a mapping with known keys.
func (d *decoder) section(node ast.Node, into reflect.Value, path string) bool {
	known := shapes()[into.Type()]
	list, ok := d.entries(node, path)
	if !ok {
		d.report(path, "needs keys below it, such as "+known.fields[0].key+":", "indent them under it")
		return false
	}
	given := map[string]bool{}
	for _, e := range list {
		f, ok := known.find(e.key)
		if !ok {
			d.reportAt(e.at, path, "unknown key "+quote(e.key), keyFix(e.key, known.keys()))
			continue
		}
		given[e.key] = true
		child := join(path, e.key)
		d.at[child] = valuePosition(e)
		d.value(e.node, into.FieldByIndex(f.index), f.limits, child)
	}
	for _, f := range known.fields {
		if f.required && !given[f.key] {
			d.reportAt(d.sectionPosition(path, list), path, f.key+" is missing", "add "+f.key+":"+hintOf(f.limits))
		}
	}
	return true
}

// sectionPosition is where a missing key is reported: at the section's own
// key or, for an entry of a list and the whole file, at its first key.
func (d *decoder) sectionPosition(path string, list []entry) position {
	if at, ok := d.at[path]; ok && !strings.HasSuffix(path, "]") {
		return at
	}
	if len(list) > 0 {
		return list[0].at
	}
	return d.find(path)
}

// valuePosition is where a problem with a value is reported: at the value, or
// at its key when it is a block of further lines.
func valuePosition(e entry) position {
	at := positionOf(e.node)
	if at.line != e.at.line {
		return e.at
	}
	if _, null := e.node.(*ast.NullNode); null {
		return e.at
	}
	return at
}

// table reads a mapping with keys of the user's choice.
func (d *decoder) table(node ast.Node, into reflect.Value, limits *jsonschema.Schema, path string) bool {
	list, ok := d.entries(node, path)
	if !ok {
		d.report(path, "needs keys below it", "indent them under it")
		return false
	}
	into.Set(reflect.MakeMap(into.Type()))
	for _, e := range list {
		child := join(path, e.key)
		d.at[child] = valuePosition(e)
		if into.Type().Key() == channelType {
			if _, err := ingest.ParseChannel(e.key); err != nil {
				d.reportAt(e.at, path, "unknown channel "+quote(e.key), channelFix(e.key))
				continue
			}
		}
		element := reflect.New(into.Type().Elem()).Elem()
		if d.value(e.node, element, limits.AdditionalProperties, child) {
			into.SetMapIndex(reflect.ValueOf(e.key).Convert(into.Type().Key()), element)
		}
	}
	return true
}

func (d *decoder) list(node ast.Node, into reflect.Value, limits *jsonschema.Schema, path string) bool {
	sequence, ok := node.(*ast.SequenceNode)
	if !ok {
		d.report(path, "needs a list", `begin each entry on a line of its own with "- "`)
		return false
	}
	for i, n := range sequence.Values {
		child := fmt.Sprintf("%s[%d]", path, i)
		d.at[child] = positionOf(n)
		element := reflect.New(into.Type().Elem()).Elem()
		d.value(n, element, limits.Items, child)
		into.Set(reflect.Append(into, element))
	}
	if limits.MinItems != nil && uint64(into.Len()) < *limits.MinItems {
		d.report(path, fmt.Sprintf("has %d of at least %d entries", into.Len(), *limits.MinItems), "add the others or leave the key out")
	}
	if limits.UniqueItems {
		d.refuseRepeats(into, path)
	}
	return true
}

func (d *decoder) refuseRepeats(list reflect.Value, path string) {
	seen := map[any]bool{}
	for i := range list.Len() {
		v := list.Index(i).Interface()
		if v != "" && seen[v] {
			d.report(fmt.Sprintf("%s[%d]", path, i), fmt.Sprintf("%v is listed twice", v), "keep one of them")
		}
		seen[v] = true
	}
}

func (d *decoder) truth(node ast.Node, into reflect.Value, path string) bool {
	b, ok := node.(*ast.BoolNode)
	if !ok {
		d.report(path, "needs true or false, not "+describe(node), truthFix(node))
		return false
	}
	into.SetBool(b.Value)
	return true
}

// plainText returns the text of a scalar and whether it stands in quotes or in
// a block of its own, which makes it text whatever it looks like.
func plainText(node ast.Node) (text string, quoted bool, err error) {
	switch n := node.(type) {
	case *ast.LiteralNode:
		return n.Value.Value, true, nil
	case *ast.StringNode:
		return n.Value, isQuoted(n), nil
	case ast.ScalarNode:
		return n.GetToken().Value, false, nil
	}
	return "", false, errors.New("no scalar")
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
