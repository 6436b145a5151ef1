package site

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"sync"

	"github.com/invopop/jsonschema"

	"coldweek/ingest"
)

var (
	channelType = reflect.TypeFor[ingest.Channel]()
	unitType    = reflect.TypeFor[ingest.Unit]()
)

// placePattern is what ingest.ParseChannel allows as a place.
const placePattern = `[^\x00-\x20/+#,"\x7f]{1,64}`

// Schema returns the JSON Schema (draft 2020-12) of a site record, the same
// bytes each time. It holds all that Parse checks of single values.
func Schema() ([]byte, error) {
	text, err := json.MarshalIndent(recordSchema(), "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write site record schema: %w", err)
	}
	return append(text, '\n'), nil
}

// recordSchema is built from the Go types once and never changed: both Schema
// and Parse read the limits from it.
var recordSchema = sync.OnceValue(func() *jsonschema.Schema {
	reflector := jsonschema.Reflector{FieldNameTag: "yaml", Anonymous: true, ExpandedStruct: true, Mapper: wordSchema}
	s := reflector.Reflect(&Record{})
	s.Title = "coldweek site record"
	s.Description = "What is known about one installation. Keys carry their units."
	limitChannels(s)
	refuseEmptyText(s)
	for _, definition := range s.Definitions {
		refuseEmptyText(definition)
	}
	return s
})

// wordSchema describes the words of ingest, which are strings to Go.
func wordSchema(t reflect.Type) *jsonschema.Schema {
	switch t {
	case channelType:
		return &jsonschema.Schema{Type: "string", Pattern: "^(" + strings.Join(quantityNames(), "|") + ")(/" + placePattern + ")?$"}
	case unitType:
		return &jsonschema.Schema{Type: "string", Enum: texts(ingest.UnitSpellings())}
	}
	return nil
}

// limitChannels gives every quantity its own definition of a source, with the
// units that fit, so that an editor offers only those.
func limitChannels(s *jsonschema.Schema) {
	channels, _ := s.Properties.Get("channels")
	channels.AdditionalProperties = jsonschema.FalseSchema
	channels.Properties = jsonschema.NewProperties()
	channels.PatternProperties = map[string]*jsonschema.Schema{}
	for _, q := range ingest.Quantities() {
		s.Definitions[string(q)] = sourceOf(q)
		reference := &jsonschema.Schema{Ref: "#/$defs/" + string(q)}
		channels.Properties.Set(string(q), reference)
		channels.PatternProperties["^"+string(q)+"/"+placePattern+"$"] = reference
	}
}

func sourceOf(q ingest.Quantity) *jsonschema.Schema {
	definition := &jsonschema.Schema{Ref: "#/$defs/Source", Properties: jsonschema.NewProperties()}
	definition.Properties.Set("unit", &jsonschema.Schema{Enum: texts(ingest.UnitSpellings(ingest.Alternatives(q.Unit())...))})
	if q != ingest.ModeQuantity {
		definition.Description = "Values in " + q.Unit().Symbol() + " unless a unit is given"
		definition.Properties.Set("values", jsonschema.FalseSchema)
		return definition
	}
	definition.Description = "One of " + strings.Join(ingest.Modes(), ", ")
	definition.Properties.Set("values", &jsonschema.Schema{AdditionalProperties: &jsonschema.Schema{Enum: texts(ingest.Modes())}})
	return definition
}

// refuseEmptyText asks for at least one character in every text: a key that
// is left out says the same more plainly.
func refuseEmptyText(s *jsonschema.Schema) {
	one := uint64(1)
	for pair := s.Properties.Oldest(); pair != nil; pair = pair.Next() {
		if pair.Value.Type == "string" {
			pair.Value.MinLength = &one
		}
	}
}

func quantityNames() []string {
	var names []string
	for _, q := range ingest.Quantities() {
		names = append(names, string(q))
	}
	return names
}

func texts(words []string) []any {
	values := make([]any, len(words))
	for i, w := range words {
		values[i] = w
	}
	return values
}
