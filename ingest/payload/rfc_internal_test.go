package payload

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type resolved struct {
	name, unit string
	timeS      float64
	kind       valueKind
	number     float64
	text       string
}

func resolvePack(t *testing.T, pack string) []resolved {
	t.Helper()
	var s scratch
	root, err := s.parse([]byte(pack))
	require.NoError(t, err)
	require.NoError(t, s.resolve(root))
	var out []resolved
	for _, r := range s.records {
		require.NoError(t, r.err)
		out = append(out, resolved{string(r.name), string(r.unit), r.timeS, r.kind, r.number, string(r.text)})
	}
	return out
}

// RFC 8428 section 5.1.3 is the pack, section 5.1.4 the same pack resolved:
// both are typed from the RFC, and both must come to the same.
func TestResolveRFC8428Section514(t *testing.T) {
	got := resolvePack(t, `[
		{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
		{"u":"lon","v":24.30621}, {"u":"lat","v":60.07965},
		{"t":60,"v":20.3}, {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965},
		{"t":120,"v":20.7}, {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966},
		{"u":"%EL","t":150,"v":98},
		{"t":180,"v":21.2}, {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}]`)
	want := resolvePack(t, `[
		{"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
		{"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
		{"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
		{"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
		{"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
		{"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}]`)
	require.Len(t, want, 13)
	assert.Equal(t, want, got)
	assert.Equal(t, resolved{"urn:dev:ow:10e2073a01080063", "%EL", 1320067614, numberValue, 98, ""}, got[9],
		"Mon Oct 31 13:24:24 UTC 2011 and 150 s, section 5.1.3")
}

// RFC 8428 sections 5.1.1, 5.1.2, 5.1.5, 5.1.6 and 5.1.7; the resolved records
// follow from section 4.5.
func TestResolveRFC8428Examples(t *testing.T) {
	const device = "urn:dev:ow:10e2073a01080063"
	for section, c := range map[string]struct {
		pack string
		want []resolved
	}{
		"5.1.1": {`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
			[]resolved{{device, "Cel", 0, numberValue, 23.1, ""}}},
		"5.1.2 now": {`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]`,
			[]resolved{{device + ":voltage", "V", 0, numberValue, 120.1, ""}, {device + ":current", "A", 0, numberValue, 1.2, ""}}},
		"5.1.2 each second": {`[
			{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
			{"n":"current","t":-5,"v":1.2}, {"n":"current","v":1.7}]`,
			[]resolved{
				{"urn:dev:ow:10e2073a0108006:voltage", "V", 1276020076.001, numberValue, 120.1, ""},
				{"urn:dev:ow:10e2073a0108006:current", "A", 1276020071.001, numberValue, 1.2, ""},
				{"urn:dev:ow:10e2073a0108006:current", "A", 1276020076.001, numberValue, 1.7, ""}}},
		"5.1.5": {`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
			{"n":"label","vs":"Machine Room"}, {"n":"open","vb":false}, {"n":"nfv-reader","vd":"aGkgCg"}]`,
			[]resolved{
				{device + ":temp", "Cel", 0, numberValue, 23.1, ""}, {device + ":label", "", 0, textValue, 0, "Machine Room"},
				{device + ":open", "", 0, truthValue, 0, "false"}, {device + ":nfv-reader", "", 0, dataValue, 0, ""}}},
		"5.1.6": {`[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2}, {"n":"humidity","u":"%RH","v":30},
			{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3}, {"n":"humidity","u":"%RH","v":67}]`,
			[]resolved{
				{"2001:db8::2/temperature", "Cel", 1320078429, numberValue, 25.2, ""}, {"2001:db8::2/humidity", "%RH", 1320078429, numberValue, 30, ""},
				{"2001:db8::1/temperature", "Cel", 1320078429, numberValue, 12.3, ""}, {"2001:db8::1/humidity", "%RH", 1320078429, numberValue, 67, ""}}},
		"5.1.7": {`[{"bn":"urn:dev:ow:10e2073a01080063:"}, {"n":"temp","u":"Cel","v":23.1}, {"n":"heat","u":"/","v":1}, {"n":"fan","u":"/","v":0}]`,
			[]resolved{
				{device + ":", "", 0, noValue, 0, ""}, {device + ":temp", "Cel", 0, numberValue, 23.1, ""},
				{device + ":heat", "/", 0, numberValue, 1, ""}, {device + ":fan", "/", 0, numberValue, 0, ""}}},
		"5.1.7 in the future": {`[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5}, {"n":"2001:db8::3","t":0.1,"v":0}]`,
			[]resolved{{"2001:db8::3", "/", 1320078429, numberValue, 0.5, ""}, {"2001:db8::3", "/", 1320078429.1, numberValue, 0, ""}}},
	} {
		assert.Equal(t, c.want, resolvePack(t, c.pack), "RFC 8428 section %s", section)
	}
}

// RFC 6901 section 5: the document and what each pointer evaluates to.
// Section 6: the same pointers as URI fragments.
func TestFindRFC6901Examples(t *testing.T) {
	var s scratch
	root, err := s.parse([]byte(`{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`))
	require.NoError(t, err)
	check := func(pointer, want string) {
		t.Helper()
		p, err := ParsePointer(pointer)
		require.NoError(t, err, pointer)
		v := p.find(root)
		require.NotNil(t, v, pointer)
		assert.JSONEq(t, want, string(v.MarshalTo(nil)), pointer)
	}
	check("", string(root.MarshalTo(nil)))
	check("/foo", `["bar","baz"]`)
	check("/foo/0", `"bar"`)
	for pointer, want := range map[string]string{
		"/": "0", "/a~1b": "1", "/c%d": "2", "/e^f": "3", "/g|h": "4", "/i\\j": "5", "/k\"l": "6", "/ ": "7", "/m~0n": "8",
		"#/": "0", "#/a~1b": "1", "#/c%25d": "2", "#/e%5Ef": "3", "#/g%7Ch": "4", "#/i%5Cj": "5", "#/k%22l": "6", "#/%20": "7", "#/m~0n": "8",
		"#/foo/1": `"baz"`,
	} {
		check(pointer, want)
	}
	check("#", string(root.MarshalTo(nil)))
}

// RFC 6901 section 4: no leading zeros, "-" is the element that is not there,
// and what is not there is an error condition, here nil.
func TestFindNothing(t *testing.T) {
	var s scratch
	root, err := s.parse([]byte(`{"foo":["bar","baz"],"n":{"a":1}}`))
	require.NoError(t, err)
	for _, pointer := range []string{"/foo/2", "/foo/-", "/foo/00", "/foo/01", "/foo/+1", "/foo/1e0", "/foo/", "/foo/99999999999999999999", "/bar", "/n/a/b", "/foo/0/0"} {
		p, err := ParsePointer(pointer)
		require.NoError(t, err, pointer)
		assert.Nil(t, p.find(root), pointer)
	}
}

func TestParsePointerRefuses(t *testing.T) {
	for pointer, detail := range map[string]string{
		"foo": `write "/foo"`, "/a~2": "must be written ~0", "/a~": "must be written ~0", "#foo": `write "/foo"`, "#/%zz": "invalid URL escape",
	} {
		_, err := ParsePointer(pointer)
		assert.ErrorContains(t, err, detail, pointer)
	}
	p, err := ParsePointer("/m~0n/a~1b")
	require.NoError(t, err)
	assert.Equal(t, Pointer{"m~n", "a/b"}, p)
	assert.Equal(t, "/m~0n/a~1b", p.String())
	p, err = ParsePointer("/~01")
	require.NoError(t, err)
	assert.Equal(t, Pointer{"~1"}, p, "section 4: ~01 is ~1, not a slash")
}
