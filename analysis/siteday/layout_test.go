package siteday_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/siteday"
)

// layoutOf writes a type down to the names and kinds of its fields, in their order.
func layoutOf(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return fmt.Sprintf("%s %s", t.Kind(), layoutOf(t.Elem()))
	case reflect.Map:
		return fmt.Sprintf("map %s %s", t.Key().Kind(), layoutOf(t.Elem()))
	case reflect.Struct:
		if t == reflect.TypeFor[time.Time]() {
			return "time"
		}
		var fields []string
		for f := range t.Fields() {
			fields = append(fields, fmt.Sprintf("%s %s %s", f.Name, f.Tag.Get("cbor"), layoutOf(f.Type)))
		}
		return "{" + strings.Join(fields, ", ") + "}"
	}
	return t.Kind().String()
}

// TestTheDefinitionMovesWithTheFields: days are kept by the order of some fields.
func TestTheDefinitionMovesWithTheFields(t *testing.T) {
	sum := sha256.Sum256([]byte(layoutOf(reflect.TypeFor[siteday.Day]())))
	const definition, layout = 12, "807bb44b"
	assert.Equal(t, definition, siteday.Definition, "note the new definition here, with the layout")
	assert.Equal(t, layout, hex.EncodeToString(sum[:4]), "what a day holds has changed: raise siteday.Definition, and note both here")
}
