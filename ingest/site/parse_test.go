package site_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/site"
)

func TestTopics(t *testing.T) {
	assert.Equal(t, "coldweek/mill/", site.TopicPrefix("mill"))
	assert.Equal(t, "coldweek/mill/room_temp/kitchen", site.DefaultTopic("mill", "room_temp/kitchen"))
}

func TestProblemString(t *testing.T) {
	p := site.Problem{File: "sites/mill.yaml", Line: 12, Column: 3, Field: "design", Message: `unknown key "heat_los_kw"`, Fix: `did you mean "heat_loss_kw"?`}
	assert.Equal(t, `sites/mill.yaml:12:3: design: unknown key "heat_los_kw"; did you mean "heat_loss_kw"?`, p.String())
	p.Warning = true
	assert.Equal(t, `sites/mill.yaml:12:3: warning: design: unknown key "heat_los_kw"; did you mean "heat_loss_kw"?`, p.String())
	assert.Equal(t, "is empty", site.Problem{Message: "is empty"}.String())
	assert.Equal(t, "a\nb", site.Problems{{Message: "a"}, {Message: "b"}}.Error())
}

func TestCheckTakesARecordThatWasNotParsed(t *testing.T) {
	found := site.Check(&site.Record{ID: "mill"})
	require.NotEmpty(t, found)
	assert.Equal(t, site.Problem{
		Field: "design.heat_loss_kw", Message: "not given: the fitted heat loss is not compared with the design",
		Fix: "add the figure of the heat loss calculation", Warning: true,
	}, found[0])
}

// A byte order mark and Windows line ends are what editors leave (Unicode 15,
// section 23.8); they change neither the values nor the positions.
func TestParseIgnoresByteOrderMarkAndLineEnds(t *testing.T) {
	r, err := site.Parse("mill.yaml", []byte("\ufeffid: mill\r\ntime_zone: Europe/London\r\nname: Mühle\r\n"))
	require.NoError(t, err)
	assert.Equal(t, "Mühle", r.Name)
	_, err = site.Parse("mill.yaml", []byte("\ufeffid: mill\r\ntime_zone: Europe/London\r\nlocation: {ä: 1, latitude_deg: 91, longitude_deg: 0}\r\n"))
	assert.EqualError(t, err, "mill.yaml:3:12: location: unknown key \"ä\"; known keys: latitude_deg, longitude_deg, elevation_m\n"+
		"mill.yaml:3:32: location.latitude_deg: 91 is above 90; write a number from -90 to 90")
}

// YAML 1.2.2 section 10.3.2 writes floats with an exponent too, and JSON does.
func TestParseReadsNumbersAsJSONDoes(t *testing.T) {
	for text, want := range map[string]float64{"7.4e0": 7.4, "74E-1": 7.4, "+7.4": 7.4, "7.": 7, ".5": 0.5} {
		r, err := site.Parse("mill.yaml", []byte(record("mill", "design: {heat_loss_kw: "+text+"}")))
		require.NoError(t, err, text)
		assert.Equal(t, want, *r.Design.HeatLossKW, text)
	}
}

// What would make the YAML parser recurse without bound is refused, quickly.
func TestParseRefusesWhatIsTooLargeOrTooDeep(t *testing.T) {
	for name, text := range map[string]string{
		"long":     strings.Repeat("# a comment\n", 30_000),
		"brackets": strings.Repeat("[", 100_000),
		"braces":   strings.Repeat("{a: ", 30_000),
		"dashes":   strings.Repeat("- ", 60_000),
		"keys":     strings.Repeat("? ", 60_000),
		"tags":     "a: " + strings.Repeat("!!a ", 30_000),
		"anchors":  "a: " + strings.Repeat("&a ", 30_000),
	} {
		_, err := site.Parse("mill.yaml", []byte(text))
		require.Error(t, err, name)
		require.Error(t, err, name)
		assert.Less(t, len(err.Error()), 1000, name)
	}
}

// The names come from the IANA database; a zone that cannot be loaded would be
// a suggestion that does not work.
func TestSuggestedZonesExist(t *testing.T) {
	list, err := os.ReadFile("zones.txt")
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(list)), "\n")
	assert.True(t, strings.HasPrefix(lines[0], "# source: IANA"))
	assert.Greater(t, len(lines), 400)
	for _, name := range lines[1:] {
		_, err := time.LoadLocation(name)
		assert.NoError(t, err)
	}
}

func FuzzParse(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(testdata, "*.yaml"))
	require.NoError(f, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Add([]byte(commented.ReplaceAllString(string(site.Template("mill", "Europe/London")), "$1")))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := site.Parse("mill.yaml", text)
		_, again := site.Parse("mill.yaml", text)
		assert.Equal(t, err, again, "the same file, the same problems in the same order")
		if err == nil {
			assert.NotEmpty(t, r.ID)
			assert.Equal(t, r.TimeZone, r.Zone().String())
			site.Check(r)
			return
		}
		problems, ok := err.(site.Problems)
		require.True(t, ok)
		require.NotEmpty(t, problems)
		lines := 1 + strings.Count(string(text), "\n") + strings.Count(string(text), "\r")
		for _, p := range problems {
			assert.NotEmpty(t, p.Message)
			assert.LessOrEqual(t, p.Line, lines, "%s", p)
			assert.GreaterOrEqual(t, p.Line, 0)
		}
	})
}
