package pipework_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/pipework"
)

func TestPumpCurveRunsStraightBetweenItsPoints(t *testing.T) {
	curve := pipework.PumpCurve{{FlowLPH: 400, HeadKPa: 62}, {FlowLPH: 1000, HeadKPa: 52}, {FlowLPH: 2000, HeadKPa: 12}}
	for flowLPH, headKPa := range map[float64]float64{0: 62, 400: 62, 700: 57, 1000: 52, 1250: 42, 2000: 12, 2500: 12} {
		assert.InDelta(t, headKPa, curve.HeadKPa(flowLPH), 1e-9, "%g l/h", flowLPH)
	}
	assert.Equal(t, 2000.0, curve.EndLPH())
	one := pipework.PumpCurve{{FlowLPH: 1000, HeadKPa: 50}}
	assert.Equal(t, 50.0, one.HeadKPa(500))
	assert.Equal(t, 50.0, one.HeadKPa(1000))
}
