package note

import (
	"math"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"coldweek/analysis/job"
	"coldweek/dashboards/note/words"
)

const (
	// leastCoverage of a month must be measured for its figures to be told.
	leastCoverage = 0.1
	// partCoverage is below which figures are said to be of a part.
	partCoverage = 0.9
	allCoverage  = 0.98
)

// composer writes a document.
type composer struct {
	*Facts
	l   *words.Language
	doc *Document
}

// Compose makes the note of facts in a language.
func Compose(f *Facts, l *words.Language) *Document {
	c := &composer{Facts: f, l: l, doc: &Document{
		Site: f.Record.ID, Month: f.Month.String(), Language: l.Tag, Issue: max(f.Issue, 1), Written: f.Written, Engineer: f.Engineer,
		Main: map[string]Main{},
	}}
	c.tiles()
	c.head()
	c.lead()
	c.got()
	c.cost()
	c.efficiency()
	c.compared()
	c.coldest()
	c.noticed()
	c.advice()
	c.carbon()
	c.unknown()
	c.care()
	c.contact()
	c.footnotes()
	c.lacking()
	if f.Engineer {
		c.engineer()
	}
	return c.doc
}

func (c *composer) say(key string, args words.Args) words.Text { return c.l.Say(key, args) }

// add puts a part into the document; one without blocks is left out.
func (c *composer) add(p Part) {
	var blocks []Block
	for _, b := range p.Blocks {
		if len(b.Text) > 0 || b.Table != nil || b.Chart != nil || b.Item != nil {
			blocks = append(blocks, b)
		}
	}
	if p.Blocks = blocks; len(blocks) > 0 {
		c.doc.Parts = append(c.doc.Parts, p)
	}
}

func paragraph(texts ...words.Text) Block { return Block{Text: words.Join(" ", texts...)} }

// from is a source of one path.
func from(path string) words.Source {
	return words.Source{Op: words.Value, Paths: []string{path}, Factor: 1}
}

func scaled(path string, factor float64) words.Source {
	return words.Source{Op: words.Value, Paths: []string{path}, Factor: factor}
}

// kWh writes an energy: whole ones, small ones with a decimal.
func (c *composer) kWh(v float64, path string) words.Text {
	return c.energy(v, from(path))
}

func (c *composer) energy(v float64, source words.Source) words.Text {
	return c.l.Measure(v, decimalsOf(v, 10), "kWh", source)
}

func (c *composer) kg(v float64, path string) words.Text {
	return c.l.Measure(v, decimalsOf(v, 10), "kg", from(path))
}

func decimalsOf(v, wholeFrom float64) int {
	if math.Abs(v) >= wholeFrom {
		return 0
	}
	return 1
}

func (c *composer) money(v float64, path string) words.Text {
	return c.l.Money(v, moneyDecimals(v), c.currency(), from(path))
}

func moneyDecimals(v float64) int {
	if math.Abs(v) >= 20 {
		return 0
	}
	return 2
}

// priced says whether the record has a price of electricity.
func (c *composer) priced() bool {
	t := orEmpty(c.Record.Tariff)
	return t.PricePerKWh != nil || len(t.TimeOfUse) > 0
}

// price writes a price of a kWh, with a third decimal where any has one.
func (c *composer) price(v float64, path string) words.Text {
	decimals := 2
	for _, r := range c.This.Cost.Rates {
		if len(c.This.Cost.Rates) > 1 || math.Abs(100*r.PricePerKWh-math.Round(100*r.PricePerKWh)) > 0.05 {
			decimals = 3
		}
	}
	return c.l.Money(v, decimals, c.currency(), from(path))
}

func (c *composer) currency() string {
	return orEmpty(c.Record.Tariff).Currency
}

func (c *composer) celsius(v float64, source words.Source) words.Text {
	return c.l.Measure(v, 1, "°C", source)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// longestName is as much of a record's text as a note takes.
const longestName = 120

// called is text of the record, made fit for one line of any form of the note.
func called(s string) words.Text {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.In(r, unicode.Cf, unicode.Variation_Selector, unicode.Cc, unicode.Co, unicode.Cs):
			return -1
		}
		return r
	}, norm.NFC.String(strings.ToValidUTF8(s, "\ufffd")))
	s = strings.Join(strings.Fields(s), " ")
	if runes := []rune(s); len(runes) > longestName {
		s = strings.TrimSpace(string(runes[:longestName-1])) + "…"
	}
	if s == "" {
		return nil
	}
	return words.Called(s)
}

// told says whether a month's figures are worth telling.
func told(r *job.Result) bool {
	return r != nil && r.Coverage >= leastCoverage && r.Heat.NetKWh != nil && r.Electricity.TotalKWh != nil
}

// part says that figures stand for a part of the month.
func part(r *job.Result) bool { return r.Coverage < partCoverage }

// head says whose note it is and of when.
func (c *composer) head() {
	d := c.doc
	month := c.l.Month(c.Month.first())
	d.House = called(house(c.Record))
	d.Title = c.say("title", words.Args{"month": month})
	d.Subject = c.say("mail_subject", words.Args{"month": month, "house": d.House})
	d.Attached, d.InPDF = c.say("mail_attached", nil), c.say("mail_chart", nil)
	contact := c.Record.Contact
	if contact != nil && contact.Homeowner != "" {
		d.Under = append(d.Under, c.say("for_homeowner", words.Args{"homeowner": called(contact.Homeowner)}))
	}
	written := c.say("written", words.Args{"date": c.l.Day(c.Written)})
	if contact != nil && contact.Engineer != "" {
		written = c.say("written_by", words.Args{"date": c.l.Day(c.Written), "engineer": called(contact.Engineer)})
	}
	d.Under = append(d.Under, written)
	if c.Previous != nil {
		d.Subject = c.say("mail_subject_again", words.Args{"month": month, "house": d.House})
		d.Under = append(d.Under, c.again())
	}
	window := c.Month.Window(c.Record)
	d.Footer = c.say("footer", words.Args{"house": d.House, "from": c.l.Day(window.From), "to": c.l.Day(window.To.AddDate(0, 0, -1))})
}

// again says which issue this is, and what is different in it.
func (c *composer) again() words.Text {
	p := c.Previous
	text := c.say("issue", words.Args{"number": c.l.Number(float64(c.doc.Issue), 0, from("issue")), "date": c.l.Day(p.Date.In(c.Record.Zone()))})
	var changes []words.Text
	for _, name := range mainFigures {
		before, had := p.Figures[name.key]
		now, has := c.doc.Main[name.key]
		if !had || !has {
			continue
		}
		was := c.mainText(name, before, from("previous.figures."+name.key+".value"))
		is := c.mainText(name, now, name.source)
		if was.String() != is.String() {
			changes = append(changes, c.say("issue_change", words.Args{"what": c.say(name.label, nil), "now": is, "before": was}))
		}
	}
	if len(changes) == 0 {
		return words.Join(" ", text, c.say("issue_same", nil))
	}
	return words.Join(" ", text, c.say("issue_changes", words.Args{"changes": c.l.List(changes)}))
}

// mainFigure is one that issues are compared by.
type mainFigure struct {
	key, label, unit string
	source           words.Source
}

// roomsSource: what defrosts drew came out of the heating water, so it never
// reached the rooms.
var roomsSource = words.Source{Op: words.Less, Paths: []string{"this.heat.space_kwh", "this.heat.defrost_drawn_kwh"}, Factor: 1}

var mainFigures = []mainFigure{
	{"rooms", "figure_rooms", "kWh", roomsSource},
	{"hot_water", "figure_hot_water", "kWh", from("this.heat.hot_water_kwh")},
	{"electricity", "figure_electricity", "kWh", from("this.electricity.total_kwh")},
	{"cost", "figure_cost", "", from("season.cost.money")},
	{"efficiency", "figure_efficiency", "", from("this.efficiency.overall")},
}

func (c *composer) mainText(f mainFigure, m Main, source words.Source) words.Text {
	switch {
	case f.unit != "":
		return c.l.Measure(m.Value, m.Decimals, f.unit, source)
	case f.key == "cost":
		return c.l.Money(m.Value, m.Decimals, c.currency(), source)
	}
	return c.l.Number(m.Value, m.Decimals, source)
}

// roomsKWh is the heat that reached the rooms.
func roomsKWh(h job.Heat) *float64 {
	if h.SpaceKWh == nil || h.DefrostDrawnKWh == nil {
		return nil
	}
	return new(*h.SpaceKWh - *h.DefrostDrawnKWh)
}

// tiles are the main figures; one that is not known says so.
func (c *composer) tiles() {
	values := map[string]*float64{}
	if told(c.This) {
		values = map[string]*float64{
			"rooms": roomsKWh(c.This.Heat), "hot_water": c.This.Heat.HotWaterKWh, "electricity": c.This.Electricity.TotalKWh,
			"cost": c.This.Cost.Money, "efficiency": c.This.Efficiency.Overall,
		}
	}
	for _, f := range mainFigures {
		tile := Tile{Label: c.say(f.label, nil), Value: c.say("not_known", nil)}
		if v := values[f.key]; v != nil {
			c.doc.Main[f.key] = Main{*v, c.mainDecimals(f, *v)}
			tile.Value = c.mainText(f, c.doc.Main[f.key], f.source)
			if part(c.This) && f.key != "efficiency" {
				tile.Under = c.say("figure_part", nil)
			}
		} else if f.key == "cost" {
			continue // the section says why
		}
		c.doc.Tiles = append(c.doc.Tiles, tile)
	}
}

func (c *composer) mainDecimals(f mainFigure, v float64) int {
	switch f.key {
	case "cost":
		return moneyDecimals(v)
	case "efficiency":
		return c.spfDecimals()
	}
	return decimalsOf(v, 10)
}

// spfDecimals is one more where the interval would not show otherwise.
func (c *composer) spfDecimals() int {
	e := c.This.Efficiency
	if e.Low != nil && e.High != nil && *e.High-*e.Low < 0.2 {
		return 2
	}
	return 1
}

// lead is the short of it.
func (c *composer) lead() {
	month := c.l.Month(c.Month.first())
	r := c.This
	switch {
	case !told(r):
		c.doc.Lead = c.say("lead_unknown", words.Args{"month": month})
		return
	case math.Abs(*r.Heat.NetKWh) < 0.5:
		c.doc.Lead = c.say("lead_cold", words.Args{"month": month})
		return
	}
	key := "lead_known"
	if part(r) {
		key = "lead_known_part"
	}
	sentences := []words.Text{c.say(key, words.Args{
		"month": month, "heat": c.kWh(*r.Heat.NetKWh, "this.heat.net_kwh"), "electricity": c.kWh(*r.Electricity.TotalKWh, "this.electricity.total_kwh"),
	})}
	if r.Efficiency.Overall != nil {
		sentences = append(sentences, c.say("lead_efficiency", words.Args{"spf": c.spf(*r.Efficiency.Overall, "this.efficiency.overall")}))
	}
	sentences = append(sentences, c.leadRooms(), c.leadNoticed())
	c.doc.Lead = words.Join(" ", sentences...)
}

func (c *composer) spf(v float64, path string) words.Text {
	return c.l.Number(v, c.spfDecimals(), from(path))
}

// leadRooms says nothing where nothing was agreed or measured.
func (c *composer) leadRooms() words.Text {
	cold, known := c.coldRooms()
	switch {
	case !known:
		return nil
	case len(cold) > 0:
		return c.say("lead_rooms_cold", nil)
	}
	return c.say("lead_rooms_held", nil)
}

func (c *composer) leadNoticed() words.Text {
	items := len(c.items())
	switch {
	case items > 0:
		return c.l.SayCount("lead_noticed", float64(items), from("noticed"), nil)
	case c.Watched && !part(c.This):
		return c.say("lead_nothing_noticed", nil)
	}
	return nil
}
