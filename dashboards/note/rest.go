package note

import (
	"time"

	"coldweek/dashboards/note/words"
)

// carbon says what the electricity put out and what the former fuel had.
func (c *composer) carbon() {
	p := Part{ID: "carbon", Heading: c.say("carbon_heading", nil)}
	cost := c.This.Cost
	switch {
	case c.Record.Tariff == nil || c.Record.Tariff.CarbonKgPerKWh == nil:
		p.Blocks = append(p.Blocks, paragraph(c.say("carbon_none", nil)))
	case !told(c.This) || cost.CarbonKg == nil:
		p.Blocks = append(p.Blocks, paragraph(c.say("carbon_unknown", nil)))
	case cost.Former == nil || cost.Former.CarbonKg == nil:
		p.Blocks = append(p.Blocks, paragraph(c.say("carbon_only", words.Args{"carbon": c.kg(*cost.CarbonKg, "season.cost.carbon_kg")})))
	default:
		p.Blocks = append(p.Blocks, paragraph(c.carbonCompared()))
	}
	c.add(p)
}

func (c *composer) carbonCompared() words.Text {
	cost := c.This.Cost
	fuel := c.say("carbon_former_heating", nil)
	if cost.Former.Fuel != "" {
		fuel = c.fuel(cost.Former.Fuel)
	}
	return c.say("carbon_compared", words.Args{
		"carbon": c.kg(*cost.CarbonKg, "season.cost.carbon_kg"), "fuel": fuel, "former": c.kg(*cost.Former.CarbonKg, "season.cost.former.carbon_kg"),
	})
}

// unknown says what was not measured.
func (c *composer) unknown() {
	p := Part{ID: "unknown", Heading: c.say("unknown_heading", nil)}
	percent := words.Args{"percent": c.l.Percent(100*c.This.Coverage, 0, scaled("this.coverage", 100))}
	key := "coverage_none"
	switch {
	case c.This.Coverage >= allCoverage:
		key = "coverage_all"
	case c.This.Coverage >= partCoverage:
		key = "coverage_most"
	case c.This.Coverage >= leastCoverage:
		key = "coverage_part"
	}
	texts := append([]words.Text{c.say(key, percent)}, c.gaps()...)
	if len(c.This.Rooms.Rooms) > 0 {
		texts = append(texts, c.say("unknown_rooms", nil))
	}
	p.Blocks = append(p.Blocks, paragraph(append(texts, c.say("unknown_change", nil))...))
	c.add(p)
}

const (
	noCoverage = 0.02
	mostGaps   = 3
)

// gaps names runs of days without readings, unless there are none with any.
func (c *composer) gaps() []words.Text {
	var texts []words.Text
	days := c.This.Days
	for i := 0; i < len(days) && len(texts) < mostGaps && told(c.This); i++ {
		if days[i].Coverage >= noCoverage {
			continue
		}
		first := i
		for i+1 < len(days) && days[i+1].Coverage < noCoverage {
			i++
		}
		args := words.Args{"from": c.l.ShortDay(dateOf(days[first])), "to": c.l.ShortDay(dateOf(days[i]))}
		key := "gap_days"
		if first == i {
			key = "gap_day"
		}
		texts = append(texts, c.say(key, args))
	}
	return texts
}

// care says where work or water can hurt someone.
func (c *composer) care() {
	p := Part{ID: "care", Look: Framed, Heading: c.say("care_heading", nil)}
	if c.hasHotWater() {
		p.Blocks = append(p.Blocks, paragraph(c.say("care_hot_water", nil)))
	}
	p.Blocks = append(p.Blocks, paragraph(c.say("care_sealed", nil)), paragraph(c.say("care_smell", nil)))
	c.add(p)
}

// hasHotWater is true unless it is known that the plant makes none.
func (c *composer) hasHotWater() bool {
	return c.Record.HotWater != nil || len(c.This.HotWater.Runs) > 0 || !told(c.This)
}

// contact says who to call.
func (c *composer) contact() {
	p := Part{ID: "contact", Heading: c.say("contact_heading", nil)}
	who := c.Record.Contact
	if who == nil || who.Engineer == "" {
		p.Blocks = append(p.Blocks, paragraph(c.say("contact_none", nil)))
		c.add(p)
		return
	}
	engineer, phone, email := called(who.Engineer), called(who.EngineerPhone), called(who.EngineerEmail)
	switch {
	case phone != nil && email != nil:
		p.Blocks = append(p.Blocks, paragraph(c.say("contact_all", words.Args{"engineer": engineer, "phone": phone, "email": email})))
	case phone != nil || email != nil:
		p.Blocks = append(p.Blocks, paragraph(c.say("contact_two", words.Args{"engineer": engineer, "way": append(phone, email...)})))
	default:
		p.Blocks = append(p.Blocks, paragraph(c.say("contact_name", words.Args{"engineer": engineer})))
	}
	c.add(p)
}

// degreeDaySource is whose method takes the weather out, see analysis/season.
const degreeDaySource = "CIBSE TM41:2006"

// footnotes say how the figures were made.
func (c *composer) footnotes() {
	p := Part{ID: "footnotes", Look: Small, Heading: c.say("footnotes_heading", nil)}
	e := c.This.Efficiency
	if told(c.This) && e.Overall != nil && e.Boundary != nil {
		p.Blocks = append(p.Blocks, paragraph(c.say("foot_boundary_"+*e.Boundary, words.Args{"boundary": words.Called("SPF " + *e.Boundary)}), c.say("foot_interval", nil)))
	}
	if told(c.This) && (c.Against.HeatChange != nil || c.AgainstLast.HeatChange != nil) {
		basis := "foot_base_usual"
		if c.Against.OwnBase {
			basis = "foot_base_own"
		}
		p.Blocks = append(p.Blocks, paragraph(c.say("foot_degree_days", words.Args{
			"base": c.celsius(c.Against.BaseC, from("season.comparison.base_c")), "basis": c.say(basis, nil), "source": words.Called(degreeDaySource),
		})))
	}
	if told(c.This) {
		p.Blocks = append(p.Blocks, paragraph(c.carbonFactors()))
	}
	c.add(p)
}

func (c *composer) carbonFactors() words.Text {
	t := c.Record.Tariff
	if t == nil || t.CarbonKgPerKWh == nil {
		return nil
	}
	factor := func(v float64, key string) words.Text {
		return c.l.Measure(v, 3-b2i(v*100 == float64(int(v*100))), "kg", from("record.tariff."+key))
	}
	source := c.say("foot_carbon_unsourced", nil)
	if t.CarbonSource != "" {
		source = called(t.CarbonSource)
	}
	args := words.Args{"electricity": factor(*t.CarbonKgPerKWh, "carbon_kg_per_kwh"), "source": source}
	if t.FormerCarbonKgKWh == nil || c.This.Cost.Former == nil {
		return c.say("foot_carbon_only", args)
	}
	args["fuel"] = c.say("carbon_former_plain", nil)
	if t.FormerFuel != "" {
		args["fuel"] = c.fuel(t.FormerFuel)
	}
	args["former"] = factor(*t.FormerCarbonKgKWh, "former_carbon_kg_per_kwh")
	return c.say("foot_carbon", args)
}

// lacking says, for the engineer, what the record lacks for the note.
func (c *composer) lacking() {
	r := c.Record
	contact, tariff := orEmpty(r.Contact), orEmpty(r.Tariff)
	_, agreed := c.coldRooms()
	for _, lack := range []struct {
		key   string
		lacks bool
	}{
		{"missing_contact", contact.Engineer == ""},
		{"missing_phone", contact.EngineerPhone == "" && contact.EngineerEmail == ""},
		{"missing_email", contact.HomeownerEmail == ""},
		{"missing_tariff", !c.priced()},
		{"missing_carbon", tariff.CarbonKgPerKWh == nil},
		{"missing_carbon_source", tariff.CarbonKgPerKWh != nil && tariff.CarbonSource == ""},
		{"missing_former", tariff.FormerFuel == "" || tariff.FormerEfficiency == nil || tariff.FormerCarbonKgKWh == nil},
		{"missing_sets", len(c.This.Rooms.Rooms) > 0 && !agreed},
	} {
		if lack.lacks {
			c.doc.ForEngineer = append(c.doc.ForEngineer, c.say(lack.key, nil))
		}
	}
}

func orEmpty[T any](section *T) *T {
	if section == nil {
		return new(T)
	}
	return section
}

// onDay writes a time as a date and a time of day, for engineers.
func onDay(at time.Time, zone *time.Location) words.Text {
	return words.Text{{Kind: words.Date, Text: at.In(zone).Format("2006-01-02 15:04")}}
}
