package chart

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// drawing is what all charts are.
type drawing interface {
	Draw(Canvas)
	Extent() Size
	SVG() []byte
}

// maker makes a chart of a name and a size.
type maker func(name string, size Size) drawing

// winterDays are invented days of a house that loses 290 W/K from 17 °C on.
func winterDays(count int) []HeatDay {
	r := rand.New(rand.NewPCG(3, 5))
	var days []HeatDay
	for i := range count {
		outdoorC := 5 - 9*math.Cos(float64(i-15)/212*2*math.Pi) + 3*r.NormFloat64()
		d := HeatDay{Date: time.Date(2025, 10, 1+i, 0, 0, 0, 0, time.UTC), OutdoorC: outdoorC}
		d.HeatKW = max(0.2, 0.29*(17-outdoorC)+0.35*r.NormFloat64())
		if i%13 == 4 {
			d.Doubtful, d.Why, d.HeatKW = true, "set back", d.HeatKW*0.6
		}
		days = append(days, d)
	}
	return days
}

func winterFit(fromC, toC float64) []HeatFit {
	var fit []HeatFit
	for t := fromC; t <= toC; t++ {
		half := 0.15 + 0.0025*(t-4)*(t-4)
		kw := 0.29 * (17 - t)
		fit = append(fit, HeatFit{t, kw, kw - half, kw + half})
	}
	return fit
}

func heatingHours(count int) []CurveHour {
	r := rand.New(rand.NewPCG(3, 9))
	var hours []CurveHour
	for range count {
		t := 3 + 5*r.NormFloat64()
		hours = append(hours, CurveHour{t, 41 - 0.7*t + 0.7*r.NormFloat64()})
	}
	return hours
}

func straight(fromC, flowC, toC, slope float64) []CurveHour {
	return []CurveHour{{fromC, flowC}, {toC, flowC + slope*(toC-fromC)}}
}

var makers = map[string]maker{
	"heat": func(name string, size Size) drawing {
		return HeatByOutdoor{ID: name, Title: name, Days: winterDays(212), Need: 7, Fit: winterFit(-12, 20), Design: &HeatDesign{-12, 8.9}, Loss: &HeatFit{-12, 9.3, 8.7, 9.9}, Size: size}
	},
	"heat few": func(name string, size Size) drawing {
		return HeatByOutdoor{ID: name, Title: name, Days: winterDays(3), Need: 7, Design: &HeatDesign{-12, 8.9}, Size: size}
	},
	"heat none": func(name string, size Size) drawing {
		return HeatByOutdoor{ID: name, Title: name, Need: 7, Size: size}
	},
	"curve": func(name string, size Size) drawing {
		design := -12.0
		return CurveScatter{ID: name, Title: name, Hours: heatingHours(720), Need: 48, Set: straight(-15, 54, 20, -0.8),
			Fitted: straight(-12, 49.4, 18, -0.7), Lowest: straight(-12, 45, 15, -0.62), DesignOutdoorC: &design, Size: size}
	},
	"defrosts": func(name string, size Size) drawing {
		return DefrostsByOutdoor{ID: name, Title: name, Bins: defrostBins(), Size: size}
	},
	"defrosts none": func(name string, size Size) drawing {
		return DefrostsByOutdoor{ID: name, Title: name, Size: size}
	},
	"flow": func(name string, size Size) drawing {
		f := flowChart(size)
		f.ID, f.Title, f.Findings[0].Text, f.Limits[0].Name = name, name, name+" flow falls by 5 % a week", name
		return f
	},
	"flow year": func(name string, size Size) drawing {
		return FlowDays{ID: name, Title: name, Days: flowDays(365)[60:], Size: size}
	},
	"flow none": func(name string, size Size) drawing { return FlowDays{ID: name, Title: name, Size: size} },
	"spf": func(name string, size Size) drawing {
		m := spfChart(size)
		m.ID, m.Title, m.Boundary = name, name, name
		return m
	},
	"spf long": func(name string, size Size) drawing {
		return MonthlySPF{ID: name, Title: name, Months: spfYear(40), Size: size}
	},
	"spf none": func(name string, size Size) drawing { return MonthlySPF{ID: name, Title: name, Size: size} },
	"spf few": func(name string, size Size) drawing {
		return MonthlySPF{ID: name, Title: name, Months: spfYear(3), Size: size}
	},
	"runs": func(name string, size Size) drawing {
		r := runChart(size)
		r.ID, r.Title = name, name
		return r
	},
	"runs none": func(name string, size Size) drawing { return RunLengths{ID: name, Title: name, Size: size} },
	"pipes": func(name string, size Size) drawing {
		tree := pipeTree(size)
		tree.ID, tree.Title, tree.Legs[1].Name, tree.Legs[1].Size = name, name, name, name
		return tree
	},
	"pipes deep": func(name string, size Size) drawing {
		tree := PipeTree{ID: name, Title: name, Size: size}
		for i := range 40 {
			tree.Legs = append(tree.Legs, PipeLeg{Name: fmt.Sprintf("Riser %d in the tower house behind the mill", i), Parent: i - 1, Size: "28 × 1.5 mm copper", LengthM: 3, VelocityMS: 0.4, LossPaPerM: 90, OnIndex: true})
		}
		return tree
	},
	"pipes wide": func(name string, size Size) drawing {
		tree := PipeTree{ID: name, Title: name, Size: size}
		for i := range 300 {
			tree.Legs = append(tree.Legs, PipeLeg{Name: fmt.Sprintf("Loop %d", i), Parent: i/20 - 1, Size: "16 × 2 mm PE-X", LengthM: 80, VelocityMS: 0.31, LossPaPerM: 120, OnIndex: i == 0 || i == 25, TooFast: i%9 == 2})
		}
		return tree
	},
	"pipes none": func(name string, size Size) drawing { return PipeTree{ID: name, Title: name, Size: size} },
	"split": func(name string, size Size) drawing {
		return ElectricitySplit{ID: name, Title: name, Size: size, Parts: []ElectricityPart{
			{"Space heating", Heat, 318}, {"Hot water", Cylinder, 62}, {"Defrosting", Defrosting, 14}, {name, Idle, 18}, {"Backup heater", Backup, 31}, {"Circulation pump", Idle, math.NaN()}}}
	},
	"split none": func(name string, size Size) drawing { return ElectricitySplit{ID: name, Title: name, Size: size} },
	"curve few": func(name string, size Size) drawing {
		return CurveScatter{ID: name, Title: name, Hours: heatingHours(30), Need: 48, Set: straight(-15, 54, 20, -0.8), Size: size}
	},
}

var widths = []float64{300, 380, 700, 960, 1200}

// each runs a check on every chart in every width.
func each(t *testing.T, check func(t *testing.T, d drawing)) {
	for name, make := range makers {
		for _, width := range widths {
			t.Run(fmt.Sprint(name, " ", width), func(t *testing.T) {
				check(t, make(strings.ReplaceAll(name, " ", "-"), Size{width, 0}))
			})
		}
	}
}

func TestEveryChartKeepsWithinItsPicture(t *testing.T) {
	each(t, func(t *testing.T, d drawing) {
		r, size := draw(d), d.Extent()
		checkTexts(t, "", r.texts, size)
		checkShapes(t, r, size)
	})
}

// checkShapes fails if anything is drawn outside the picture or nowhere.
func checkShapes(t *testing.T, r *recorder, size Size) {
	t.Helper()
	const touch = 1
	for _, l := range append(r.lines, r.areas...) {
		for _, p := range l.points {
			require.True(t, p.X >= -touch && p.Y >= -touch && p.X <= size.Width+touch && p.Y <= size.Height+touch, "%v is not in the picture", p)
		}
	}
	for _, f := range r.rects {
		b := f.box
		require.True(t, b.W >= 0 && b.H >= 0 && b.X >= -touch && b.Y >= -touch && b.Right() <= size.Width+touch && b.Bottom() <= size.Height+touch, "%v", f)
	}
}

func TestEveryChartIsSmallAndTheSameEachTime(t *testing.T) {
	each(t, func(t *testing.T, d drawing) {
		assert.LessOrEqual(t, len(d.SVG()), 60_000)
		assert.Equal(t, d.SVG(), d.SVG())
	})
}

func TestEveryChartHasANameAndADescription(t *testing.T) {
	ids := map[string]bool{}
	for name, make := range makers {
		all := parseSVG(t, make(strings.ReplaceAll(name, " ", "-"), Size{700, 0}).SVG())
		assert.NotEmpty(t, all[1].text, name)
		assert.Greater(t, len(all[2].text), 8, name)
		for _, e := range all {
			assert.NotContains(t, e.text, "NaN", name)
			if id := e.at["id"]; id != "" {
				assert.False(t, ids[id], "id %q twice", id)
				ids[id] = true
			}
		}
	}
}

func TestHostileNamesStayTextInEveryChart(t *testing.T) {
	allowed := map[string]bool{"svg": true, "title": true, "desc": true, "path": true, "text": true, "circle": true, "rect": true}
	for name, make := range makers {
		for _, hostile := range hostileNames {
			for _, e := range parseSVG(t, make(hostile, Size{700, 0}).SVG()) {
				require.True(t, allowed[e.name], "%s: element %s of %q", name, e.name, hostile)
				for attribute := range e.at {
					require.False(t, strings.HasPrefix(attribute, "on"), "%s: attribute %s of %q", name, attribute, hostile)
				}
			}
			d := make(hostile, Size{380, 0})
			checkTexts(t, name+" "+hostile, draw(d).texts, d.Extent())
		}
	}
}
