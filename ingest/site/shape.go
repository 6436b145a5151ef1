package site

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"sync"

	"github.com/invopop/jsonschema"
)

// field is one key of a mapping and the limits of its value.
type field struct {
	key      string
	index    []int
	required bool
	limits   *jsonschema.Schema
}

// shape is what a mapping may hold.
type shape struct {
	fields []field
}

func (s shape) find(key string) (field, bool) {
	i := slices.IndexFunc(s.fields, func(f field) bool { return f.key == key })
	if i < 0 {
		return field{}, false
	}
	return s.fields[i], true
}

func (s shape) keys() []string {
	keys := make([]string, len(s.fields))
	for i, f := range s.fields {
		keys[i] = f.key
	}
	return keys
}

// shapes of the record and of every mapping inside it.
var shapes = sync.OnceValue(func() map[reflect.Type]shape {
	known := map[reflect.Type]shape{}
	collectShapes(reflect.TypeFor[Record](), recordSchema(), known)
	return known
})

func collectShapes(t reflect.Type, schema *jsonschema.Schema, known map[reflect.Type]shape) {
	var s shape
	known[t] = s
	for _, f := range reflect.VisibleFields(t) {
		key, _, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		if key == "" || !f.IsExported() {
			continue
		}
		limits, _ := schema.Properties.Get(key)
		s.fields = append(s.fields, field{key: key, index: f.Index, required: slices.Contains(schema.Required, key), limits: limits})
		inner := innermost(f.Type)
		if _, seen := known[inner]; !seen && inner.Kind() == reflect.Struct {
			collectShapes(inner, recordSchema().Definitions[inner.Name()], known)
		}
	}
	known[t] = s
}

// innermost takes pointers, lists and maps off a type.
func innermost(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice || t.Kind() == reflect.Map {
		t = t.Elem()
	}
	return t
}

// home returns the path of the section that has the key, when only one has:
// the place a misplaced key belongs to.
func home(key string) string {
	found := ""
	var walk func(t reflect.Type, path string)
	walk = func(t reflect.Type, path string) {
		s := shapes()[t]
		if _, ok := s.find(key); ok {
			if found != "" {
				found = "several"
			} else {
				found = path
			}
		}
		for _, f := range s.fields {
			fieldType := t.FieldByIndex(f.index).Type
			if fieldType.Kind() == reflect.Pointer {
				walk(fieldType.Elem(), strings.TrimPrefix(path+"."+f.key, "."))
			}
		}
	}
	walk(reflect.TypeFor[Record](), "")
	if found == "several" {
		return ""
	}
	return found
}

// limit reads a number of the schema; ok is false where there is none.
func limit(n json.Number) (value float64, ok bool) {
	value, err := n.Float64()
	return value, err == nil
}

// choices returns the values of an enumeration as text.
func choices(limits *jsonschema.Schema) []string {
	var words []string
	for _, v := range limits.Enum {
		switch v := v.(type) {
		case string:
			words = append(words, v)
		case json.Number:
			words = append(words, v.String())
		}
	}
	return words
}
