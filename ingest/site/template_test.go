package site_test

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/site"
)

func TestTemplateParses(t *testing.T) {
	for _, id := range []string{"mill-house", "12", "1e3", "true", "a_b"} {
		record, err := site.Parse("x.yaml", site.Template(id, "Europe/London"))
		require.NoError(t, err)
		assert.Equal(t, id, record.ID)
		assert.Equal(t, "Europe/London", record.Zone().String())
		assert.Nil(t, record.Design, "nothing of the invented house counts for a real one")
	}
}

// commented is a line of the template that can be put to use: its # is
// followed by a key, a dash or deeper indentation, that of prose by one space.
var commented = regexp.MustCompile(`(?m)^#([a-z]|  )`)

func TestTemplateParsesWithEverySectionPutToUse(t *testing.T) {
	text := commented.ReplaceAllString(string(site.Template("mill-house", "Europe/London")), "$1")
	record, err := site.Parse("mill-house.yaml", []byte(text))
	require.NoError(t, err)
	assert.Empty(t, site.Check(record), "the invented house leaves nothing open")
	assert.NoError(t, schemaSays(compiled(t), []byte(text)))
	assert.Contains(t, text, "coldweek/mill-house/CHANNEL")
	for _, key := range schemaKeys(t) {
		assert.Regexp(t, `(?m)(^|[ {])`+regexp.QuoteMeta(key)+":", text, "the template does not show %s", key)
	}
}

// The yaml language server reads a modeline comment with a path relative to
// the file (redhat-developer/yaml-language-server, README "Using inlined
// schema").
func TestTemplatePointsEditorsAtTheSchema(t *testing.T) {
	first, _, _ := strings.Cut(string(site.Template("mill", "Europe/London")), "\n")
	assert.Equal(t, "# yaml-language-server: $schema=../"+site.SchemaFile, first)
}
