package note

import (
	"math"
	"strconv"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/dashboards/chart"
	"coldweek/dashboards/note/picture"
	"coldweek/dashboards/note/words"
)

// chartSize is that of the charts on a page; renderers ask for others.
var chartSize = chart.Size{Width: 620, Height: 190}

// got says what heat the house got, with the chart of the days.
func (c *composer) got() {
	p := Part{ID: "got", Heading: c.say("got_heading", nil)}
	if !told(c.This) {
		p.Blocks = append(p.Blocks, paragraph(c.say("got_unknown", nil)))
		c.add(p)
		return
	}
	h := c.This.Heat
	space := c.energy(*roomsKWh(h), roomsSource)
	split := c.say("got_split", words.Args{"space": space, "water": c.kWh(*h.HotWaterKWh, "this.heat.hot_water_kwh")})
	if len(c.This.HotWater.Runs) == 0 {
		split = c.say("got_rooms", words.Args{"space": space})
	}
	doubt := words.Text(nil)
	if h.UncertaintyPct != nil {
		doubt = c.say("got_doubt", words.Args{"percent": c.l.Percent(*h.UncertaintyPct, decimalsOf(*h.UncertaintyPct, 2), from("this.heat.uncertainty_pct"))})
	}
	p.Blocks = append(p.Blocks, paragraph(split, c.say("got_unit", nil), doubt), Block{Chart: c.energyChart()})
	c.add(p)
}

// energyChart is nil without a day to draw.
func (c *composer) energyChart() *Chart {
	e := picture.Energy{
		Space: c.say("chart_space", nil).String(), Water: c.say("chart_water", nil).String(), Electricity: c.say("chart_electricity", nil).String(),
		Part: c.say("chart_part", nil).String(), None: c.say("chart_none", nil).String(), Unit: c.say("chart_days_axis", nil).String(),
		Format: c.format, Size: chartSize,
	}
	for _, d := range c.This.Days {
		e.Days = append(e.Days, picture.EnergyDay{
			SpaceKWh: orNaN(d.NetKWh) - orNaN(d.HotWaterKWh), WaterKWh: orNaN(d.HotWaterKWh), ElectricityKWh: orNaN(d.ElectricityKWh), Part: d.Coverage < partCoverage,
		})
	}
	return &Chart{ID: "days", Title: c.say("chart_days", nil), Words: c.daysInWords(), Picture: e}
}

// daysInWords names the days of most and least heat among those measured.
func (c *composer) daysInWords() words.Text {
	most, least := -1, -1
	for i, d := range c.This.Days {
		if d.NetKWh == nil || d.Coverage < partCoverage {
			continue
		}
		if most < 0 || *d.NetKWh > *c.This.Days[most].NetKWh {
			most = i
		}
		if least < 0 || *d.NetKWh < *c.This.Days[least].NetKWh {
			least = i
		}
	}
	if most < 0 {
		return c.say("chart_days_none", nil)
	}
	return c.say("chart_days_words", words.Args{
		"heat": c.kWh(*c.This.Days[most].NetKWh, dayPath(most, "net_kwh")), "date": c.l.ShortDay(dateOf(c.This.Days[most])),
		"least": c.kWh(*c.This.Days[least].NetKWh, dayPath(least, "net_kwh")), "least_date": c.l.ShortDay(dateOf(c.This.Days[least])),
	})
}

// format writes the numbers of charts, which stand for no figure of their own.
func (c *composer) format(v float64, decimals int) string {
	return c.l.Number(v, decimals, words.Source{}).String()
}

func dayPath(i int, key string) string { return "this.days." + strconv.Itoa(i) + "." + key }

// dateOf is noon of a day, whose date is true in any zone.
func dateOf(d job.Day) time.Time {
	at, err := time.Parse(time.DateOnly, d.Date)
	if err != nil {
		return time.Time{}
	}
	return at.Add(12 * time.Hour)
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// cost says what the electricity cost, if the record has prices.
func (c *composer) cost() {
	p := Part{ID: "cost", Heading: c.say("cost_heading", nil)}
	cost := c.This.Cost
	switch {
	case !c.priced():
		p.Blocks = append(p.Blocks, paragraph(c.say("cost_no_tariff", nil)))
	case !told(c.This):
		p.Blocks = append(p.Blocks, paragraph(c.say("cost_unknown", nil)))
	case cost.Money == nil || cost.PricePerKWh == nil:
		p.Blocks = append(p.Blocks, paragraph(c.say("cost_unpriced", nil)))
	default:
		key := "cost_month"
		if part(c.This) {
			key = "cost_part"
		}
		first := c.say(key, words.Args{"money": c.money(*cost.Money, "season.cost.money"), "price": c.price(*cost.PricePerKWh, "season.cost.price_per_kwh")})
		p.Blocks = append(p.Blocks, paragraph(first, c.rates(), c.formerCost(), c.say("cost_not_bill", nil)))
	}
	c.add(p)
}

// rates says what was taken at which price, where there are several.
func (c *composer) rates() words.Text {
	rates := c.This.Cost.Rates
	if len(rates) < 2 {
		return nil
	}
	var told []words.Text
	for i, r := range rates {
		path := "season.cost.rates." + strconv.Itoa(i)
		told = append(told, c.say("cost_rate", words.Args{"energy": c.kWh(r.KWh, path+".kwh"), "price": c.price(r.PricePerKWh, path+".price_per_kwh")}))
	}
	return c.say("cost_rates", words.Args{"rates": c.l.List(told)})
}

func (c *composer) formerCost() words.Text {
	former := c.This.Cost.Former
	if former == nil || former.Money == nil {
		return nil
	}
	money := c.money(*former.Money, "season.cost.former.money")
	if former.Fuel == "" {
		return c.say("cost_former_unnamed", words.Args{"money": money})
	}
	return c.say("cost_former", words.Args{"fuel": c.fuel(former.Fuel), "money": money})
}

// fuel translates the usual ones; others stand as they were written.
func (c *composer) fuel(name string) words.Text {
	key := "fuel_" + strings.ReplaceAll(strings.ToLower(strings.TrimSpace(name)), " ", "_")
	if c.l.Has(key) {
		return c.say(key, nil)
	}
	return called(name)
}

// efficiency says what came of each unit of electricity.
func (c *composer) efficiency() {
	p := Part{ID: "efficiency", Heading: c.say("efficiency_heading", nil)}
	e := c.This.Efficiency
	if !told(c.This) || e.Overall == nil || e.Low == nil || e.High == nil {
		p.Blocks = append(p.Blocks, paragraph(c.say("efficiency_unknown", nil)))
		c.add(p)
		return
	}
	first := c.say("efficiency_month", words.Args{
		"spf": c.spf(*e.Overall, "this.efficiency.overall"), "low": c.spf(*e.Low, "this.efficiency.low"), "high": c.spf(*e.High, "this.efficiency.high"),
	})
	p.Blocks = append(p.Blocks, paragraph(first, c.efficiencyParts()))
	c.add(p)
}

func (c *composer) efficiencyParts() words.Text {
	e := c.This.Efficiency
	if e.Space == nil || e.HotWater == nil {
		return nil
	}
	key := "efficiency_parts"
	if *e.HotWater >= *e.Space {
		key = "efficiency_parts_even"
	}
	return c.say(key, words.Args{"space": c.spf(*e.Space, "this.efficiency.space"), "water": c.spf(*e.HotWater, "this.efficiency.hot_water")})
}
