package metrology

import "math"

// SensorClass is the tolerance class of a platinum thermometer per IEC 60751.
type SensorClass int

// The classes of IEC 60751.
const (
	SensorClassAA SensorClass = iota
	SensorClassA
	SensorClassB
)

// ToleranceK is by how much one sensor may be off at a temperature. A pair that
// was not matched may be off by twice that. The figures are from memory.
func ToleranceK(class SensorClass, tempC float64) float64 {
	switch class {
	case SensorClassAA:
		return 0.1 + 0.0017*math.Abs(tempC)
	case SensorClassA:
		return 0.15 + 0.002*math.Abs(tempC)
	case SensorClassB:
		return 0.3 + 0.005*math.Abs(tempC)
	}
	panic("metrology: unknown sensor class")
}
