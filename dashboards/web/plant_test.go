package web

import (
	"encoding/xml"
	"errors"
	"io"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPlantShowsTheCheckedDay: expected.csv, computed independently in Python
// from the same readings: net heat 124.92 to 124.95 kWh (hold, trapezoid) and
// 32.30 kWh electricity with gaps above 120 s left out, 13 starts, 7 defrosts,
// 84,840 s covered. The day here goes on to the next, which adds 30 s.
func TestPlantShowsTheCheckedDay(t *testing.T) {
	doc := document(t, pages(t, nil), "/plants/check-house?day=2026-01-10", http.StatusOK)
	figures := figuresOf(doc)
	inKWh := func(name string) float64 {
		text, ok := strings.CutSuffix(figures[name], " kWh")
		require.True(t, ok, "%s: %q has its unit", name, figures[name])
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		return v
	}
	assert.InDelta(t, 124.95, inKWh("Heat delivered"), 0.11)
	assert.InDelta(t, 32.3, inKWh("Electricity"), 0.051)
	assert.Equal(t, "3.87", figures["SPF"])
	assert.Equal(t, "13", figures["Starts"])
	assert.Equal(t, "7", figures["Defrosts"])
	assert.Equal(t, "98 %", figures["Measured"], "84,870 of 86,400 s")
	assert.Contains(t, text(doc), "commissioned 1200 l/h, minimum 500 l/h")
}

// TestLogbook: expected.csv, run_minutes list: 540, 50, ten of 4, 120 and 420
// minutes; 7 defrosts.
func TestLogbook(t *testing.T) {
	doc := document(t, pages(t, nil), "/plants/check-house?day=2026-01-10", http.StatusOK)
	var lasted []string
	defrosts := 0
	for _, row := range all(doc, "tr") {
		switch attribute(row, "class") {
		case "running":
			lasted = append(lasted, text(all(row, "td")[2]))
		case "defrost":
			defrosts++
		}
	}
	assert.Equal(t, []string{"9 h", "50 min", "4 min", "4 min", "4 min", "4 min", "4 min", "4 min", "4 min", "4 min", "4 min", "4 min", "2 h", "7 h"}, lasted)
	assert.Equal(t, 7, defrosts)
}

// TestLogbookAddsUp: the parts of a day are the whole.
func TestLogbookAddsUp(t *testing.T) {
	h := pages(t, nil)
	doc := document(t, h, "/plants/"+london+"?day=2026-01-14", http.StatusOK)
	total := 0.0
	for _, row := range all(doc, "tr") {
		if attribute(row, "class") == "running" {
			v, err := strconv.ParseFloat(strings.TrimSuffix(text(all(row, "td")[3]), " kWh"), 64)
			require.NoError(t, err)
			total += v
		}
	}
	net, err := strconv.ParseFloat(strings.TrimSuffix(figuresOf(doc)["Heat delivered"], " kWh"), 64)
	require.NoError(t, err)
	assert.InDelta(t, net, total, 0.3, "heat of all runs against the day's net heat")
}

// TestPartOfADay: a range that is no whole day has figures of its own. From
// expected.csv, run_minutes list: the plant runs without a stop until 09:00.
func TestPartOfADay(t *testing.T) {
	doc := document(t, pages(t, nil), "/plants/check-house?from=2026-01-10T02:00&to=2026-01-10T08:00", http.StatusOK)
	assert.Equal(t, "0", figuresOf(doc)["Starts"])
	assert.Contains(t, text(doc), "Sat 10 Jan 2026, 02:00 to 08:00")
	assert.Contains(t, text(doc), "began before the range, went on after it")
}

// TestTodayIsNotHeldAgainstTheFuture: what has not happened yet is not missing.
func TestTodayIsNotHeldAgainstTheFuture(t *testing.T) {
	doc := document(t, pages(t, nil), "/plants/"+london+"?day=2026-01-15", http.StatusOK)
	assert.Regexp(t, `^(100|99(\.\d)?) %$`, figuresOf(doc)["Measured"])
	week := document(t, pages(t, nil), "/plants/check-house?from=2026-01-10&to=2026-01-17", http.StatusOK)
	assert.Regexp(t, `^98 %$`, figuresOf(week)["Measured"])
}

func TestDefaultDay(t *testing.T) {
	h := pages(t, nil)
	for id, want := range map[string]string{
		london:  "Thu 15 Jan 2026", // it sends readings now
		fallen:  "Wed 14 Jan 2026", // the day of its last reading
		checked: "Thu 15 Jan 2026",
	} {
		heading := ""
		for _, n := range all(document(t, h, "/plants/"+id, http.StatusOK), "h3") {
			if attribute(n, "id") == "period-name" {
				heading = text(n)
			}
		}
		assert.Equal(t, want, heading, id)
	}
}

func TestNoReadingsYet(t *testing.T) {
	doc := document(t, pages(t, nil), "/plants/"+barn, http.StatusOK)
	assert.Contains(t, text(doc), "Nothing has arrived from this plant")
	assert.Contains(t, text(doc), "coldweek load empty-barn history.csv.gz")
	assert.Empty(t, all(doc, "svg"))
}

// TestFortnight: the days beside a period link to their own pages, which hold
// the same figures.
func TestFortnight(t *testing.T) {
	h := pages(t, nil)
	doc := document(t, h, "/plants/check-house?day=2026-01-10", http.StatusOK)
	var table []string
	links := 0
	for _, row := range all(doc, "tr") {
		cells := all(row, "td")
		heads := all(row, "th")
		if len(cells) != 8 || len(heads) != 1 {
			continue
		}
		if as := all(heads[0], "a"); len(as) == 1 {
			links++
			if strings.HasPrefix(attribute(as[0], "href"), "?day=2026-01-09") {
				for _, c := range cells {
					table = append(table, text(c))
				}
			}
		}
	}
	assert.Equal(t, fortnightDays, links)
	own := figuresOf(document(t, h, "/plants/check-house?day=2026-01-09", http.StatusOK))
	require.Len(t, table, 8)
	assert.Equal(t, own["Heat delivered"], table[0]+" kWh")
	assert.Equal(t, own["Electricity"], table[2]+" kWh")
	assert.Equal(t, own["SPF"], table[3])
	assert.Equal(t, own["Starts"], table[5])
	assert.Equal(t, own["Defrosts"], table[6])
}

func TestFortnightOf(t *testing.T) {
	day := func(text string) period { return wholeDay(parseDate(text, time.UTC)) }
	for chosen, want := range map[string]string{
		"2026-01-15": "2026-01-02 2026-01-16", // today is the last of fourteen
		"2026-01-02": "2026-01-02 2026-01-16",
		"2026-01-01": "2025-12-19 2026-01-02", // earlier ones end with their own day
	} {
		w := fortnightOf(day(chosen), clock)
		assert.Equal(t, want, w.From.Format(dateLayout)+" "+w.To.Format(dateLayout), chosen)
	}
}

func TestWrongRanges(t *testing.T) {
	h := pages(t, nil)
	for query, want := range map[string]string{
		"?from=x&to=2026-01-10":                        `"x" is no time`,
		"?from=2026-01-10&to=2026-13-40":               `"2026-13-40" is no time`,
		"?from=2026-01-10":                             "needs both from and to",
		"?to=2026-01-10":                               "needs both from and to",
		"?from=2026-01-10&to=2026-01-10":               "before it begins",
		"?from=2026-01-11&to=2026-01-10":               "before it begins",
		"?day=yesterday":                               "is not a day",
		"?day=2026-02-30":                              "is not a day",
		"?day=2026-01-10T12:00":                        "is not a day",
		"?from=0001-01-01&to=0002-01-01":               "is no time",
		"?from=9999-01-01&to=9999-01-02":               "is no time",
		"?from=%00&to=%3Cscript%3E":                    "is no time",
		"?from=" + strings.Repeat("9", 5000) + "&to=1": "is no time",
	} {
		doc := document(t, h, "/plants/check-house"+query, http.StatusBadRequest)
		assert.Contains(t, text(doc), want, query)
		assert.Contains(t, text(doc), "Check House", "a way back")
	}
}

func TestRangesAreBounded(t *testing.T) {
	h := pages(t, nil)
	doc := document(t, h, "/plants/check-house?from=2024-01-01&to=2030-01-01", http.StatusOK)
	assert.Contains(t, text(doc), "Cut to the first 366 days")
	assert.Contains(t, text(doc), "Mon 1 Jan to Tue 31 Dec 2024")
	doc = document(t, h, "/plants/check-house?from=2026-01-10T06:00&to=2026-01-10T06:01", http.StatusOK)
	assert.Contains(t, text(doc), "Widened to 10 min")
	doc = document(t, h, "/plants/check-house?day=2027-01-01", http.StatusOK)
	assert.Equal(t, "–", figuresOf(doc)["Heat delivered"], "the future is not known")
}

func TestDrawingsAlone(t *testing.T) {
	h := pages(t, nil)
	for _, address := range []string{"trace.svg?day=2026-01-14&width=300", "trace.svg?day=2026-01-14&width=1600", "days.svg?day=2026-01-14&width=700"} {
		w := get(h, "/plants/"+hostile+"/"+address)
		require.Equal(t, http.StatusOK, w.Code)
		assert.Equal(t, "image/svg+xml", w.Header().Get("Content-Type"))
		assert.Contains(t, w.Body.String(), ` width="`+address[strings.LastIndex(address, "=")+1:]+`"`)
		wellFormed(t, w.Body.String())
		assert.NotContains(t, w.Body.String(), "<script")
	}
	for _, query := range []string{"", "?day=2026-01-14&width=1", "?day=2026-01-14&width=99999", "?day=2026-01-14&width=x"} {
		assert.Equal(t, http.StatusBadRequest, get(h, "/plants/check-house/trace.svg"+query).Code, query)
	}
	assert.Equal(t, http.StatusNotFound, get(h, "/plants/nobody/trace.svg?day=2026-01-14").Code)
}

func wellFormed(t *testing.T, svg string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
	}
}
