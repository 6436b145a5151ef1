package season

import (
	"time"

	"coldweek/analysis/siteday"
)

// Tariff is what a site says of prices and carbon. Nil is not told.
type Tariff struct {
	Currency       string
	PricePerKWh    *float64 // outside the spans
	Spans          []PriceSpan
	CarbonKgPerKWh *float64
	Former         Former
}

// PriceSpan is a price from one minute of the local day up to another; one whose
// To is before its From runs over midnight.
type PriceSpan struct {
	FromMinute, ToMinute int
	PricePerKWh          float64
}

func (s PriceSpan) holds(minute int) bool {
	if s.FromMinute <= s.ToMinute {
		return s.FromMinute <= minute && minute < s.ToMinute
	}
	return minute >= s.FromMinute || minute < s.ToMinute
}

// Former is what heated the house before.
type Former struct {
	Fuel           string
	PricePerKWh    *float64
	Efficiency     *float64 // heat per energy bought
	CarbonKgPerKWh *float64
}

// Cost is what electricity cost and emitted. Nil is not known: the record has no
// price, factor or former fuel for it.
type Cost struct {
	Currency       string   `json:"currency,omitempty"`
	ElectricityKWh float64  `json:"electricity_kwh"`
	Money          *float64 `json:"money"`
	PricePerKWh    *float64 `json:"price_per_kwh"` // on average, by what was taken when
	Rates          []Rate   `json:"rates"`         // of tariffs with several
	CarbonKg       *float64 `json:"carbon_kg"`
	// UnpricedKWh was taken when no price holds; Money is then not known.
	UnpricedKWh float64 `json:"unpriced_kwh"`

	Former         *FormerCost `json:"former"`
	BreakEvenSPF   *float64    `json:"break_even_spf"`        // from here on the former fuel costs more
	BreakEvenSPFCO *float64    `json:"break_even_spf_carbon"` // and emits more
}

// Rate is what was taken at one price.
type Rate struct {
	PricePerKWh float64 `json:"price_per_kwh"`
	KWh         float64 `json:"kwh"`
}

// FormerCost is the same heat from the former fuel.
type FormerCost struct {
	Fuel     string   `json:"fuel,omitempty"`
	FuelKWh  float64  `json:"fuel_kwh"`
	Money    *float64 `json:"money"`
	CarbonKg *float64 `json:"carbon_kg"`
}

// CostOf prices hours of electricity, each spread evenly over its minutes, on
// the site's own clock. heatJ is the heat that was delivered in them.
func CostOf(hours []siteday.Hour, heatJ float64, zone *time.Location, t Tariff) Cost {
	c := Cost{Currency: t.Currency, Rates: []Rate{}}
	for i := range hours {
		c.addHour(&hours[i], zone, t)
	}
	c.price(t)
	if t.CarbonKgPerKWh != nil {
		c.CarbonKg = new(c.ElectricityKWh * *t.CarbonKgPerKWh)
	}
	c.former(heatJ, t)
	return c
}

func (c *Cost) addHour(h *siteday.Hour, zone *time.Location, t Tariff) {
	kWh := h.ElectricityJ / joulePerKWh
	c.ElectricityKWh += kWh
	minutes := max(int(h.S/60), 1)
	if len(t.Spans) == 0 {
		minutes = 1 // one price: the clock does not matter
	}
	for m := range minutes {
		at := h.From.Add(time.Duration(m) * time.Minute).In(zone)
		c.add(t.priceAt(at.Hour()*60+at.Minute()), kWh/float64(minutes))
	}
}

// priceAt returns nil where no price holds.
func (t *Tariff) priceAt(minute int) *float64 {
	for i := range t.Spans {
		if t.Spans[i].holds(minute) {
			return &t.Spans[i].PricePerKWh
		}
	}
	return t.PricePerKWh
}

func (c *Cost) add(pricePerKWh *float64, kWh float64) {
	if pricePerKWh == nil {
		c.UnpricedKWh += kWh
		return
	}
	for i := range c.Rates {
		if c.Rates[i].PricePerKWh == *pricePerKWh {
			c.Rates[i].KWh += kWh
			return
		}
	}
	c.Rates = append(c.Rates, Rate{*pricePerKWh, kWh})
}

// price sums the rates up; what has no price leaves the whole without.
func (c *Cost) price(t Tariff) {
	if c.UnpricedKWh > 0 || len(c.Rates) == 0 {
		return
	}
	c.Money = new(0.0)
	for _, r := range c.Rates {
		*c.Money += r.PricePerKWh * r.KWh
	}
	if c.ElectricityKWh > 0 {
		c.PricePerKWh = new(*c.Money / c.ElectricityKWh)
	}
}

func (c *Cost) former(heatJ float64, t Tariff) {
	f := t.Former
	if f.Efficiency == nil || heatJ <= 0 {
		return
	}
	fuelKWh := heatJ / joulePerKWh / *f.Efficiency
	c.Former = &FormerCost{Fuel: f.Fuel, FuelKWh: fuelKWh}
	if f.PricePerKWh != nil {
		c.Former.Money = new(fuelKWh * *f.PricePerKWh)
		c.BreakEvenSPF = breakEven(c.PricePerKWh, f.PricePerKWh, *f.Efficiency)
	}
	if f.CarbonKgPerKWh != nil {
		c.Former.CarbonKg = new(fuelKWh * *f.CarbonKgPerKWh)
		c.BreakEvenSPFCO = breakEven(t.CarbonKgPerKWh, f.CarbonKgPerKWh, *f.Efficiency)
	}
}

func breakEven(electricityPerKWh, formerPerKWh *float64, efficiency float64) *float64 {
	if electricityPerKWh == nil || *formerPerKWh <= 0 {
		return nil
	}
	return new(BreakEvenSPF(*electricityPerKWh, *formerPerKWh, efficiency))
}

// BreakEvenSPF is the SPF at which a kWh of heat costs (or emits) as much as
// from the former fuel: electricity and former are price or carbon of a kWh.
func BreakEvenSPF(electricityPerKWh, formerPerKWh, efficiency float64) float64 {
	return electricityPerKWh / formerPerKWh * efficiency
}
