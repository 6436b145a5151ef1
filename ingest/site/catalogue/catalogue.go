package catalogue

import (
	_ "embed" // the tables
	"encoding/csv"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed pipes.csv
var pipesCSV string

//go:embed fittings.csv
var fittingsCSV string

// Size is a pipe as it is sold.
type Size struct {
	Material   string
	OutsideMM  float64
	WallMM     float64
	series     string
	writtenOut string
}

// String returns outside diameter x wall in mm, as a record has it: "28x0.9".
func (s Size) String() string { return s.writtenOut }

// BoreMM returns the inside diameter.
func (s Size) BoreMM() float64 { return s.OutsideMM - 2*s.WallMM }

// Fitting is what a named fitting costs, in velocity heads.
type Fitting struct {
	Name string
	Zeta float64
}

var pipes = sync.OnceValue(func() []Size {
	var list []Size
	for _, row := range rows(pipesCSV) {
		written := row[1] + "x" + row[2]
		outsideMM, wallMM, _ := ParseSize(written)
		list = append(list, Size{row[0], outsideMM, wallMM, row[3], written})
	}
	return list
})

var fittings = sync.OnceValue(func() []Fitting {
	var list []Fitting
	for _, row := range rows(fittingsCSV) {
		zeta, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			panic("BUG: catalogue: " + err.Error())
		}
		list = append(list, Fitting{row[0], zeta})
	}
	return list
})

// rows returns a table without its comments and header.
func rows(table string) [][]string {
	reader := csv.NewReader(strings.NewReader(table))
	reader.Comment = '#'
	records, err := reader.ReadAll()
	if err != nil {
		panic("BUG: catalogue: " + err.Error())
	}
	return records[1:]
}

// ParseSize reads "28x0.9". ok is false for text of another form and for a
// pipe without wall or bore.
func ParseSize(size string) (outsideMM, wallMM float64, ok bool) {
	outside, wall, _ := strings.Cut(size, "x")
	outsideMM, errOutside := strconv.ParseFloat(outside, 64)
	wallMM, errWall := strconv.ParseFloat(wall, 64)
	return outsideMM, wallMM, errOutside == nil && errWall == nil && wallMM > 0 && outsideMM > 2*wallMM
}

// Sizes returns the sizes of a material ("copper", "multilayer", "pex",
// "steel"), by bore.
func Sizes(material string) []Size {
	var list []Size
	for _, s := range pipes() {
		if s.Material == material {
			list = append(list, s)
		}
	}
	slices.SortStableFunc(list, func(a, b Size) int { return int(1000 * (a.BoreMM() - b.BoreMM())) })
	return list
}

// Find returns a size of a material.
func Find(material, size string) (Size, bool) {
	outsideMM, wallMM, _ := ParseSize(size)
	list := Sizes(material)
	i := slices.IndexFunc(list, func(s Size) bool { return s.OutsideMM == outsideMM && s.WallMM == wallMM })
	if i < 0 {
		return Size{}, false
	}
	return list[i], true
}

// Larger returns the next larger size that is commonly stocked: of the same
// series when the size belongs to one. ok is false above the largest.
func Larger(material, size string) (larger Size, ok bool) {
	outsideMM, wallMM, _ := ParseSize(size)
	known, _ := Find(material, size)
	for _, s := range Sizes(material) {
		sameKind := s.series != "" && (known.series == "" || s.series == known.series)
		if sameKind && s.OutsideMM > outsideMM && s.BoreMM() > outsideMM-2*wallMM {
			return s, true
		}
	}
	return Size{}, false
}

// Zeta returns the resistance coefficient of a fitting by its name.
func Zeta(name string) (zeta float64, ok bool) {
	for _, f := range fittings() {
		if f.Name == name {
			return f.Zeta, true
		}
	}
	return 0, false
}

// Fittings returns every fitting that has a name.
func Fittings() []Fitting { return slices.Clone(fittings()) }

// RoughnessM returns the roughness of a new pipe's inside: drawn tube 1.5 µm
// and commercial steel 45 µm (Moody 1944, Binder 1973); plastic 7 µm, which
// makers of multilayer and PE-X pipe state, the upper end of 1.5 to 7 µm in
// handbooks. ok is false for a material that is not known.
func RoughnessM(material string) (roughnessM float64, ok bool) {
	switch material {
	case "copper":
		return 1.5e-6, true
	case "multilayer", "pex":
		return 7e-6, true
	case "steel":
		return 45e-6, true
	}
	return 0, false
}
