package chart

import (
	"fmt"
	"strings"
)

// Role is what a shape means; a palette turns it into a colour.
type Role string

// The roles of measured quantities.
const (
	Flow     Role = "flow"     // flow temperature
	Return   Role = "return"   // return temperature
	Outdoor  Role = "outdoor"  // outdoor temperature
	Room     Role = "room"     // room temperature
	Cylinder Role = "cylinder" // hot water: cylinder temperature, heat into it
	Target   Role = "target"   // flow target
	Heat     Role = "heat"     // heat output, space heating
	Power    Role = "power"    // electricity
	Backup   Role = "backup"   // backup heater
	Rate     Role = "rate"     // flow rate
)

// The roles of everything else.
const (
	Paper       Role = "paper"
	Ink         Role = "ink"          // headings and values
	Muted       Role = "muted"        // tick labels, notes, reference lines
	Axis        Role = "axis"         // base lines, the clock's changes
	Grid        Role = "grid"         // rules behind the data
	Defrosting  Role = "defrosting"   // state: defrost
	Idle        Role = "idle"         // state: circulating, off
	WaterWash   Role = "water-wash"   // band behind a hot-water run
	FrostWash   Role = "frost-wash"   // band behind a defrost
	Missing     Role = "missing"      // ground where nothing was measured
	MissingMark Role = "missing-mark" // hatching on it
)

// tint is a role's colour in both themes.
type tint struct {
	role        Role
	light, dark string
}

// Lines that share a panel and fills that touch keep a colour difference
// (CIEDE2000) of 15 for protan, deutan and tritan readers, and 3:1 against
// every ground they cross; palette_test.go measures both.
var palette = [...]tint{
	{Paper, "#fcfbf8", "#14191f"},
	{Ink, "#17212b", "#eceff2"},
	{Muted, "#5a636c", "#a3adb7"},
	{Axis, "#8b9299", "#66717c"},
	{Grid, "#e6e3dc", "#2a323b"},
	{Flow, "#da580e", "#f0531f"},
	{Return, "#3278e9", "#85c7fd"},
	{Outdoor, "#19262f", "#8799a0"},
	{Room, "#1c6e4f", "#b9e868"},
	{Cylinder, "#970073", "#b258ba"},
	{Target, "#502d00", "#ffe3cf"},
	{Heat, "#d0560c", "#f37539"},
	{Power, "#1452cf", "#8fb2ff"},
	{Backup, "#8a0f3c", "#ffc2d6"},
	{Rate, "#0b7285", "#5fd0c5"},
	{Defrosting, "#0d8bcc", "#86eafc"},
	{Idle, "#6f7271", "#949494"},
	{WaterWash, "#f6e6ee", "#33202c"},
	{FrostWash, "#dff0f6", "#123040"},
	{Missing, "#eeece6", "#20262d"},
	{MissingMark, "#cfcbc1", "#3d4752"},
}

// Hex returns the role's colour in the light palette, as "#rrggbb". A role
// that is none has the colour of ink.
func (r Role) Hex() string { return r.tint().light }

func (r Role) tint() tint {
	for _, t := range palette {
		if t.role == r {
			return t
		}
	}
	return Ink.tint()
}

// class returns the role as a part of a class name, safe for any Role.
func (r Role) class() string { return string(r.tint().role) }

// CSS returns the style sheet that lets charts inside a page follow its theme.
// Each role is a custom property (--cw-flow) that the page can use or set
// anew. Prints are light on white. Of two variants of one chart, wrapped in
// elements of class cw-wide and cw-narrow, a phone shows the narrow one.
func CSS() string {
	var b strings.Builder
	properties := func(indent string, colour func(tint) string) {
		for _, t := range palette {
			fmt.Fprintf(&b, "%s--cw-%s:%s;\n", indent, t.role, colour(t))
		}
	}
	b.WriteString(":root{\n")
	properties("  ", func(t tint) string { return t.light })
	b.WriteString("}\n@media screen and (prefers-color-scheme:dark){:root{\n")
	properties("  ", func(t tint) string { return t.dark })
	b.WriteString("}}\n@media print{:root{--cw-paper:#ffffff}}\n")
	for _, t := range palette {
		fmt.Fprintf(&b, ".cw-f-%[1]s{fill:var(--cw-%[1]s)}.cw-s-%[1]s{stroke:var(--cw-%[1]s)}\n", t.role)
	}
	b.WriteString(".cw-chart{display:block;max-width:100%;height:auto}\n.cw-narrow{display:none}\n")
	b.WriteString("@media (max-width:640px){.cw-wide{display:none}.cw-narrow{display:block}}\n")
	return b.String()
}
