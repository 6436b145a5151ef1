package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"coldweek/dashboards/chart"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// sensorKinds are the findings that are about readings themselves.
var sensorKinds = []string{"sensor_", "pipes_swapped", "meter_disagreement", "clock_wrong", "silent"}

// sensors is what each channel says now, and what is doubted about it.
func (s *server) sensors(r *http.Request) (*page, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	body := &sectionBody{}
	if body.Head, err = s.plantHead(r, record, "sensors"); err != nil {
		return nil, err
	}
	now := s.Now().In(record.Zone())
	extents, err := s.Store.Extents(r.Context(), record.ID)
	if err != nil {
		return nil, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	body.NoData = len(extents) == 0
	if !body.NoData {
		channels, err := s.channelsPart(r.Context(), record, extents, now)
		if err != nil {
			return nil, err
		}
		body.Parts = append(body.Parts, channels)
	}
	body.Parts = append(body.Parts, doubtedPart(body.Head.found, now), meteringPart(record))
	return &page{Template: "section", Title: "Sensors, " + body.Head.Name, Live: body.Head.LiveAt, Body: body}, nil
}

// channelsPart lists what each channel said last.
func (s *server) channelsPart(ctx context.Context, record *site.Record, extents []store.Extent, now time.Time) (part, error) {
	channels := make([]ingest.Channel, len(extents))
	for i, e := range extents {
		channels[i] = e.Channel
	}
	columns, err := s.Store.Scan(ctx, record.ID, channels, now.Add(-24*time.Hour-silentAfter), now.Add(ingest.MaxAhead))
	if err != nil {
		return part{}, fmt.Errorf("scan site %q: %w", record.ID, err)
	}
	t := table{Caption: "What each channel says", Open: true, Sparks: "Last 24 hours", Heads: heads("Channel", col("Now", ""), tableHead{Name: "Newest"}, tableHead{Name: "First"}, col("Readings", "a minute"), tableHead{Name: "From"})}
	for i, e := range extents {
		value, rate := unknown, 0.0
		first, _ := slices.BinarySearch(columns[i].UnixMS, now.Add(-silentAfter).UnixMilli())
		if n := columns[i].Len(); n > first {
			value = channelValue(e.Channel, columns[i].Value[n-1])
			rate = float64(n-first) / silentAfter.Minutes()
		}
		newest := moment(e.Last.In(record.Zone()), now)
		if quiet := silence(e.Last, now); quiet > 0 {
			newest += ", silent for " + length(quiet)
		}
		t.Rows = append(t.Rows, tableRow{Spark: channelSpark(record, &columns[i], now), Cells: []string{
			upperFirst(channelInWords(e.Channel)), value, newest, e.First.In(record.Zone()).Format("2 Jan 2006"), measured(&rate, 1, "").Value, sourceInWords(record, e.Channel),
		}})
	}
	return part{ID: "channels", Name: "Channels", Tables: []table{t}, Notes: []string{"Now is the newest reading of the last quarter of an hour; registers and modes that are sent only when they change may be older and still hold. Hatched is where no readings are."}}, nil
}

// channelSpark draws the last 24 hours of a channel, nothing of registers, modes and
// what the drawings have no role for.
func channelSpark(record *site.Record, c *ingest.Column, now time.Time) template.HTML {
	if c.Len() == 0 {
		return ""
	}
	quantity := c.Channel.Quantity()
	known := append(slices.Clone(lines), line{ingest.Power, chart.Power, ""}, line{ingest.HeatOutput, chart.Heat, ""})
	k := slices.IndexFunc(known, func(l line) bool { return l.quantity == quantity })
	if k < 0 {
		return ""
	}
	gap := silentAfter
	if s := record.Channels[c.Channel].MaxGapS; s != nil {
		gap = max(gap, time.Duration(*s*float64(time.Second)))
	}
	series := chart.Series{
		Name: upperFirst(channelInWords(c.Channel)), Role: known[k].role, UnixMS: c.UnixMS, Value: c.Value,
		MaxGapMS: gap.Milliseconds(), Hold: quantity.Between() == ingest.Hold,
	}
	return inline(sparkOf("spark-"+strings.NewReplacer("/", "-", "_", "-").Replace(string(c.Channel)), nameOf(record), series, now))
}

// channelValue writes a value with its unit.
func channelValue(ch ingest.Channel, value float64) string {
	if ch.Quantity() == ingest.ModeQuantity {
		return strings.ReplaceAll(ingest.Mode(value).String(), "_", " ")
	}
	digits := 1
	switch ch.Quantity() {
	case ingest.FlowRate, ingest.Power, ingest.BackupPower, ingest.PumpPower, ingest.HeatOutput, ingest.Irradiance:
		digits = 0
	case ingest.VolumeRegister, ingest.Pressure:
		digits = 2
	}
	return measured(&value, digits, ch.Unit().Symbol()).String()
}

// sourceInWords says where the record takes a channel from.
func sourceInWords(record *site.Record, ch ingest.Channel) string {
	source := record.Channels[ch]
	switch {
	case source.Topic != "" && source.Pointer != "":
		return source.Topic + " " + source.Pointer
	case source.Topic != "":
		return source.Topic
	case source.Column != "":
		return "column " + source.Column
	}
	return "the default topic"
}

// doubtedPart lists the findings that last and are about readings.
func doubtedPart(found []noticed, now time.Time) part {
	t := table{Caption: "Open findings about readings", Heads: []tableHead{{Name: "Finding"}, {Name: "Severity"}, {Name: "Since"}}}
	for i := range found {
		f := &found[i].finding
		for _, kind := range sensorKinds {
			if strings.HasPrefix(f.Kind, kind) {
				t.Rows = append(t.Rows, tableRow{Address: findingAddress(found[i].record.ID, f), Cells: []string{f.Title, string(f.Severity), moment(f.Since.In(now.Location()), now)}})
				break
			}
		}
	}
	p := part{ID: "doubted", Name: "Doubted"}
	if len(t.Rows) == 0 {
		p.Lead = "Nothing about these readings is doubted now."
		return p
	}
	p.Tables = []table{t}
	return p
}

// meteringPart says what is known of the meters.
func meteringPart(record *site.Record) part {
	p := part{ID: "metering", Name: "Metering", Link: &link{plantAddress(record.ID) + "/record", "What the record leaves open"}}
	m := record.Metering
	if m == nil {
		p.Lead = "The record says nothing of the meters: boundary and accuracy of figures are not known."
		return p
	}
	if len(m.ElectricityCovers) > 0 {
		p.Words = append(p.Words, sentence("The electricity meter sees "+strings.ReplaceAll(strings.Join(m.ElectricityCovers, ", "), "_", " ")))
	}
	if h := m.HeatMeter; h != nil {
		class := ""
		if h.Class > 0 {
			class = fmt.Sprintf("class %d (EN 1434)", h.Class)
		}
		p.Words = append(p.Words, sentence(remarks("Heat meter", class, with("qp %s", measured(h.PermanentFlowM3H, 1, "m³/h")), with("from %s on", measured(h.MinimumDifferenceK, 1, "K")))))
	}
	if e := m.ElectricityMeter; e != nil && e.Class != "" {
		p.Words = append(p.Words, "Electricity meter class "+e.Class+" (EN 50470).")
	}
	for _, pair := range m.SensorPairs {
		applied := ""
		if pair.ApplyOffset {
			applied = "taken off"
		}
		p.Words = append(p.Words, sentence(remarks("Pair "+channelInWords(pair.Flow)+" and "+channelInWords(pair.Return),
			with("error %s", measured(pair.PairErrorK, 2, "K")), with("offset %s", measured(pair.OffsetK, 2, "K")), applied)))
	}
	return p
}
