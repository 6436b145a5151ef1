package web

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestNumbers(t *testing.T) {
	check := func(want string, v float64, digits int) {
		t.Helper()
		assert.Equal(t, want, number(v, digits))
	}
	check("0", 0, 0)
	check("0.0", -0.04, 1)
	check("−0.1", -0.05001, 1)
	check("−12.3", -12.34, 1)
	check("1234", 1234, 0)
	check("12\u202f345", 12345, 0)
	check("1\u202f234\u202f567.8", 1234567.84, 1)
}

func TestWordsAsPagesPrintThem(t *testing.T) {
	check := func(want, given string) {
		t.Helper()
		assert.Equal(t, strings.ReplaceAll(want, "_", nbsp), printed(given), given)
	}
	check("Flow 512_l/h at −3.2_°C", "Flow 512 l/h at -3.2 °C")
	check("(−4 to 2_K), 12_kWh, 3.1_kW, 40_W, 5_min, 98_%", "(-4 to 2 K), 12 kWh, 3.1 kW, 40 W, 5 min, 98 %")
	check("7 days, 3 minutes, 2 Kilns, low-flow, 2026-01-31", "7 days, 3 minutes, 2 Kilns, low-flow, 2026-01-31")
	assert.Equal(t, "It was −5"+nbsp+"°C.", sentence("it was -5 °C"))
	assert.Empty(t, sentence(""))
}

func TestQuantities(t *testing.T) {
	value := func(v float64) *float64 { return &v }
	plain := func(q quantity) string { return strings.ReplaceAll(q.String(), nbsp, " ") }
	assert.Equal(t, "–", plain(energy(nil)))
	assert.Equal(t, "–", plain(energy(value(math.NaN()))))
	assert.Equal(t, "–", plain(kilowatts(nil)))
	assert.Equal(t, "–", plain(counted(nil)))
	assert.Equal(t, "0.0 kWh", plain(energy(value(0))), "nothing is not unknown")
	assert.Equal(t, "999.9 kWh", plain(energy(value(999.94))))
	assert.Equal(t, "1000 kWh", plain(energy(value(999.96))))
	assert.Equal(t, "1.12 kW", plain(kilowatts(value(1123))))
	assert.Equal(t, "−2.1 °C", plain(celsius(value(-2.13))))
	assert.Equal(t, "100 %", plain(percent(value(1))))
	assert.Equal(t, "99.9 %", plain(percent(value(0.9994))), "what is not whole is not 100 %")
	assert.Equal(t, "< 1 %", plain(percent(value(0.0004))), "what is something is not 0 %")
	assert.Equal(t, "0 %", plain(percent(value(0))))
}

func TestLengths(t *testing.T) {
	check := func(want string, d time.Duration) {
		t.Helper()
		assert.Equal(t, want, strings.ReplaceAll(length(d), nbsp, " "))
	}
	check("45 s", 45*time.Second)
	check("10 min", 10*time.Minute)
	check("1 h", 59*time.Minute+50*time.Second)
	check("9 h 50 min", 9*time.Hour+50*time.Minute)
	check("31 h", 31*time.Hour)
	check("12 days", 12*24*time.Hour+5*time.Hour)
}

func TestRemarksLeaveOutWhatIsNotKnown(t *testing.T) {
	zero, some2 := 0.0, 2.5
	assert.Empty(t, with("space %s", energy(nil)))
	assert.Empty(t, some("standby %s", energy(&zero)))
	assert.Equal(t, "standby 2.5"+nbsp+"kWh", some("standby %s", energy(&some2)))
	assert.Equal(t, "a, b", remarks("a", "", "b"))
}
