package scenario

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParse(t *testing.T) {
	s, err := Parse(`# two samples missing
from 2026-01-14 06:00 Europe/London every 30s
power 12*2 -*2 100>200*3
mode  heating*1 off*1
site:
  heat_pump:
    minimum_flow_lph: 600

expect heat.net_kwh 11.3 within 2%
expect flow.minimum_lph null
`)
	require.NoError(t, err)
	require.Len(t, s.Columns, 2)
	assert.Equal(t, []float64{12, 12, 100, 150, 200}, s.Columns[0].Value)
	assert.Equal(t, s.From.Add(2*time.Minute).UnixMilli(), s.Columns[0].UnixMS[2])
	assert.Equal(t, []float64{1, 0}, s.Columns[1].Value)
	assert.Equal(t, "heat_pump:\n  minimum_flow_lph: 600\n", s.Record)
	require.Len(t, s.Expect, 2)
	assert.InDelta(t, 0.226, s.Expect[0].Within, 1e-12)
	assert.False(t, s.Expect[1].Number)
	assert.Equal(t, s.From.Add(210*time.Second), s.To())
}

func TestParseSaysWhatIsWrong(t *testing.T) {
	check := func(text, want string) {
		t.Helper()
		_, err := Parse(text)
		assert.ErrorContains(t, err, want)
	}
	const begin = "from 2026-01-14 06:00 UTC every 30s\n"
	check("power 12*2\n", "before the line that says from when")
	check(begin+"powr 12\n", `did you mean "power"?`)
	check(begin+"power 12*x\n", "value*count")
	check(begin+"power twelve\n", "no number")
	check(begin+"flow_temp 900\n", "impossible")
	check(begin+"expect heat.net_kwh\n", "write: expect")
	check("from yesterday\n", "write: from")
	check("", "no line says when")
}
