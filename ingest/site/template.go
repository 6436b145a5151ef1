package site

import (
	_ "embed" // the starter record
	"strconv"
	"strings"
)

//go:embed starter.yaml
var starter string

// SchemaFile is the name of the schema beside the sites folder, which the
// first line of a starter record points editors at.
const SchemaFile = "site.schema.json"

// Template returns a starter record for a new site: every section is shown,
// commented out, with the figures of an invented house.
func Template(id, zone string) []byte {
	fill := strings.NewReplacer("<id>", strconv.Quote(id), "<zone>", strconv.Quote(zone), "<topic>", TopicPrefix(id))
	return []byte(fill.Replace(starter))
}
