package web

import (
	"bytes"
	"errors"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/receive"
)

func TestIntake(t *testing.T) {
	w := newWard(t, func(o *Options) {
		o.Intake = func() receive.Stats {
			return receive.Stats{
				Messages: 1200, Readings: 9600, Changed: 9590, Refused: map[ingest.Reason]int64{ingest.UnknownTopic: 3}, Heard: map[string]int64{"ash": 1197},
				Trouble: errors.New("disk is full"),
			}
		}
	})
	_, err := w.store.Append(t.Context(), []ingest.Reading{
		{Site: "ash", Channel: "flow_temp", Time: w.now.Add(-time.Minute), Value: 31}, {Site: "ash", Channel: "power", Time: w.now.Add(-time.Hour), Value: 900},
		{Site: "beech", Channel: "power", Time: w.now.Add(-26 * time.Hour), Value: 900},
	})
	require.NoError(t, err)
	rejected := []ingest.Rejected{
		{Arrived: w.now.Add(-time.Minute), Topic: "house/9/heat", Reason: ingest.UnknownTopic, Detail: "no record claims it", Payload: []byte(`{"t":31.5}`)},
		{Arrived: w.now.Add(-time.Hour), Topic: "house/9/heat", Reason: ingest.UnknownTopic, Detail: "no record claims it", Payload: []byte(`{"t":31.4}`)},
		{Arrived: w.now.Add(-2 * time.Hour), Site: "ash", Topic: "coldweek/ash/power", Reason: ingest.BadPayload, Detail: attack, Payload: []byte(attack + "\x00\xff\x1b[2J")},
		{Arrived: w.now.Add(-3 * time.Hour), Site: "ash", Topic: attack, Reason: ingest.TooLarge, Detail: "too large", Payload: bytes.Repeat([]byte("x"), ingest.MaxRejectedPayload)},
	}
	slices.Reverse(rejected) // the oldest came first
	require.NoError(t, w.store.Refuse(t.Context(), rejected))
	doc := document(t, w.h, "/intake", http.StatusOK)
	checkPage(t, "/intake", doc)
	said := text(doc)
	assert.Contains(t, said, "The last attempt to keep readings failed: disk is full.")
	assert.Contains(t, said, "Messages 1200 on disk, 3 of them refused")
	tables := all(doc, "table")
	require.Len(t, tables, 3)
	var rows []string
	for _, row := range all(tables[0], "tr")[1:] {
		rows = append(rows, text(row))
	}
	assert.Equal(t, []string{"Cedar – – 0 0", "Beech Wed 14 Jan, 08:00 26 h 0 power 0", "Ash 09:59 1 min 1 power 1197"}, rows, "never heard of, then the furthest behind")
	topics := all(tables[1], "tr")
	require.Len(t, topics, 2, "one line a topic")
	assert.Equal(t, `house/9/heat 2 09:59 UTC {"t":31.5} no record claims it`, text(topics[1]))
	assert.Contains(t, said, `\x00\xff\x1b[2J`, "what is no text is written out")
	assert.Contains(t, said, "and 3696 bytes more", "4096 kept, 400 shown")
	assert.Len(t, all(doc, "script"), 1, "our own")

	only := text(document(t, w.h, "/intake?reason=too_large", http.StatusOK))
	assert.Equal(t, 1, strings.Count(only, "x"+strings.Repeat("x", 399)))
	assert.NotContains(t, only, `\x1b[2J`)
	document(t, w.h, "/intake?reason=%3Cscript%3E", http.StatusBadRequest)
	document(t, w.h, "/intake?sheet=2", http.StatusNotFound)
}

func TestIntakeBeforeAnything(t *testing.T) {
	said := text(document(t, newWard(t, nil).h, "/intake", http.StatusOK))
	assert.Contains(t, said, "Nothing was refused.")
	assert.NotContains(t, said, "Since the start")
}

// TestRecordsLeftOut: a plant whose record has a mistake is in no list, so the page of
// the intake says so.
func TestRecordsLeftOut(t *testing.T) {
	h, _ := clinic(t, "beech", "id: beech\ntime_zone: Europe/Berlin\ndesign: {heat_loss_kw: 6.1}\n")
	assert.NotContains(t, text(document(t, h, "/intake", http.StatusOK)), "Records left out")
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(recordPath(dir, "elm"), []byte("id: elm\ntime_zone: UTC\ndesign:\n  heat_loss_kw: -3\n"), 0o600))
	w := newWard(t, func(o *Options) { o.SitesDir = dir })
	doc := document(t, w.h, "/intake", http.StatusOK)
	checkPage(t, "/intake", doc)
	assert.Contains(t, text(doc), "Records left out")
	assert.Contains(t, text(doc), "elm.yaml, line 4 design.heat_loss_kw")
}
