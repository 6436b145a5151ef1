package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest/store"
)

func TestAttitude(t *testing.T) {
	at := func(hour int) time.Time { return time.Date(2026, 1, 5, hour, 0, 0, 0, time.UTC) }
	actions := []store.Action{
		{Kind: "low_flow", At: at(1), Deed: store.Acknowledge, By: "Ada", Note: "seen"},
		{Kind: "silent", At: at(2), Deed: store.Mute},
		{Kind: "low_flow", At: at(3), Deed: store.Mute, Until: at(6)},
		{Kind: "room_cold", At: at(3), Deed: store.Mute, Until: at(6), By: "Bea"},
		{Kind: "curve_high", At: at(3), Deed: store.Remark, By: "Bea", Note: "hm"},
		{Kind: "low_flow", At: at(8), Deed: store.Unmute},
	}
	for _, c := range []struct {
		kind         string
		since, now   int
		acknowledged bool
		muted        bool
		words        string
	}{
		{"low_flow", 0, 0, false, false, ""},
		{"low_flow", 0, 2, true, false, "; acknowledged by Ada (seen)"},
		{"low_flow", 0, 4, true, true, "; muted until 5 Jan 2026 06:00"},
		{"low_flow", 0, 7, true, false, "; acknowledged by Ada"},
		{"low_flow", 2, 2, false, false, ""}, // began after it was acknowledged
		{"low_flow", 9, 9, false, false, ""},
		{"silent", 5, 9, false, true, "; muted"},
		{"room_cold", 0, 5, false, true, "; muted until 5 Jan 2026 06:00 by Bea"},
		{"room_cold", 0, 7, false, false, "; its mute ended 5 Jan 2026 06:00"},
		{"curve_high", 0, 7, false, false, "; remarked on by Bea (hm)"},
		{"frost_danger", 0, 9, false, false, ""},
	} {
		got := store.AttitudeTo(c.kind, at(c.since), actions, at(c.now))
		assert.Equal(t, c.acknowledged, got.Acknowledged, "%+v", c)
		assert.Equal(t, c.muted, got.Muted, "%+v", c)
		assert.Equal(t, c.words, got.Words(time.UTC), "%+v", c)
	}
}
