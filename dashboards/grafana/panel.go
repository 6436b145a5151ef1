package grafana

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
	"github.com/grafana/grafana-foundation-sdk/go/units"
)

// Units that Grafana has no name for, and those it names oddly.
const (
	litresPerHour = "suffix:l/h"
	messages      = "suffix:messages"
	perSecond     = "suffix:/s"
	perMinute     = "suffix:/min"
	hours         = "suffix:h" // Grafana's own makes days of more than 24
	bare          = units.NoUnit
	ratio         = units.PercentUnit // 0 to 1, shown in %
	age           = units.Seconds
	kWh           = units.KiloWattHour
)

// view is what every panel has.
type view struct {
	title string
	about string // what it shows and from what
	unit  string
	none  string // shown where there is nothing

	width, height uint32
	interval      string // the least that readings are averaged over
	lookBack      string // a span of its own, "30d", while the page's is relative
	decimals      *float64
	fields        []field // looks of single series or columns
}

// field is the look of the series or columns whose name fits.
type field struct {
	name  string // an expression
	props []dashboard.DynamicConfigValue
}

func named(expression string, props ...dashboard.DynamicConfigValue) field {
	return field{expression, props}
}

func prop(id string, value any) dashboard.DynamicConfigValue {
	return dashboard.DynamicConfigValue{Id: id, Value: value}
}

func coloured(hex string) dashboard.DynamicConfigValue {
	return prop("color", dashboard.FieldColor{Mode: dashboard.FieldColorModeIdFixed, FixedColor: &hex})
}

func dashed() dashboard.DynamicConfigValue {
	return prop("custom.lineStyle", common.LineStyle{Fill: new(common.LineStyleFillDash), Dash: []float64{8, 6}})
}

// lineOnTheRight takes a series out of the bars and gives it a scale of its own.
func lineOnTheRight(unit, label string) []dashboard.DynamicConfigValue {
	return []dashboard.DynamicConfigValue{
		prop("unit", unit), prop("custom.axisPlacement", common.AxisPlacementRight), prop("custom.axisLabel", label),
		prop("custom.drawStyle", common.GraphDrawStyleLine), prop("custom.fillOpacity", 0), prop("custom.lineWidth", 2),
		prop("custom.showPoints", common.VisibilityModeAlways), prop("custom.stacking", common.StackingConfig{Mode: new(common.StackingModeNone)}),
	}
}

// builder is what the SDK's panel builders have in common.
type builder[B any] interface {
	Title(string) B
	Description(string) B
	Unit(string) B
	NoValue(string) B
	Span(uint32) B
	Height(uint32) B
	Datasource(common.DataSourceRef) B
	WithTarget(cog.Builder[variants.Dataquery]) B
	Interval(string) B
	TimeFrom(string) B
	Decimals(float64) B
	OverrideByRegexp(string, []dashboard.DynamicConfigValue) B
}

// dress gives a panel its view and its queries.
func dress[B builder[B]](b B, v view, queries []query) B {
	b.Title(v.title).Description(v.about).Unit(v.unit).NoValue(v.none).Span(v.width).Height(v.height).Datasource(sourceOf(queries))
	for i, q := range queries {
		b.WithTarget(q.target(string(rune('A' + i))))
	}
	if v.interval != "" {
		b.Interval(v.interval)
	}
	if v.lookBack != "" {
		b.TimeFrom(v.lookBack)
	}
	if v.decimals != nil {
		b.Decimals(*v.decimals)
	}
	for _, f := range v.fields {
		b.OverrideByRegexp("/"+f.name+"/", f.props) // without strokes Grafana adds anchors
	}
	return b
}

func sourceOf(queries []query) common.DataSourceRef {
	for _, q := range queries[1:] {
		if q.source != queries[0].source {
			return mixedSource
		}
	}
	return queries[0].source
}

// lines draws series as lines that do not cross a gap. Series that no field
// colours are shades of one colour, told apart by their names.
func lines(v view, queries ...query) *timeseries.PanelBuilder {
	return dress(timeseries.NewPanelBuilder(), v, queries).
		DrawStyle(common.GraphDrawStyleLine).LineWidth(2).FillOpacity(0).ShowPoints(common.VisibilityModeAuto).
		SpanNulls(common.BoolOrFloat64{Bool: new(false)}).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdShades).FixedColor(blue)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderNone)).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom))
}

// dayLines are lines through figures of days.
func dayLines(v view, queries ...query) *timeseries.PanelBuilder {
	return lines(v, queries...).ShowPoints(common.VisibilityModeAlways).PointSize(6)
}

// bars draws figures of days as bars from midnight on.
func bars(v view, queries ...query) *timeseries.PanelBuilder {
	return lines(v, queries...).DrawStyle(common.GraphDrawStyleBars).LineWidth(0).FillOpacity(80).
		BarAlignment(common.BarAlignmentAfter).ShowPoints(common.VisibilityModeNever)
}

// stacked are bars upon each other.
func stacked(v view, queries ...query) *timeseries.PanelBuilder {
	return bars(v, queries...).Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A"))
}

// figure shows one number.
func figure(v view, q query) *stat.PanelBuilder {
	return dress(stat.NewPanelBuilder(), v, []query{q}).
		Orientation(common.VizOrientationAuto).GraphMode(common.BigValueGraphModeNone).ColorMode(common.BigValueColorModeValue).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"})).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdFixed).FixedColor(plain))
}

// judged colours a figure by limits.
func judged(b *stat.PanelBuilder, limits *dashboard.ThresholdsConfigBuilder) *stat.PanelBuilder {
	return b.Thresholds(limits).ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdThresholds))
}

// list shows rows, sorted by the columns named, the greatest first.
func list(v view, sort []string, queries ...query) *table.PanelBuilder {
	var by []cog.Builder[common.TableSortByFieldState]
	for _, column := range sort {
		by = append(by, common.NewTableSortByFieldStateBuilder().DisplayName(column).Desc(true))
	}
	return dress(table.NewPanelBuilder(), v, queries).SortBy(by).
		Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{})).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdFixed).FixedColor(plain))
}

// panelBuilder is a panel of any kind.
type panelBuilder = cog.Builder[dashboard.Panel]
