package dispatch_test

import (
	"net/mail"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/notetest"
	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest/site"
)

// quietUntilSeven is told of all sites, and not at night.
func quietUntilSeven(name, address string, sites ...string) notify.Engineer {
	return notify.Engineer{
		Name: name, EMail: &mail.Address{Address: address}, Sites: sites, Zone: time.UTC, Quiet: &notify.QuietHours{From: 22 * 60, To: 7 * 60},
	}
}

// lettersTo are what the mail server took for an address.
func (d *desk) lettersTo(address string) []mailtest.Letter {
	var letters []mailtest.Letter
	for _, l := range d.server.Letters() {
		if l.To[0] == address {
			letters = append(letters, l)
		}
	}
	return letters
}

func engineersAreTold(t *testing.T, d *desk) {
	d.engineers = []notify.Engineer{
		quietUntilSeven("Ruth", "ruth@firm.example", notify.EverySite), quietUntilSeven("Ada", "ada@firm.example", d.records[0].ID),
		quietUntilSeven("Ben", "ben@firm.example", "elsewhere"),
	}
	d.step("2026-02-01 06:01")
	assert.True(t, d.drafted())
	assert.Empty(t, d.server.Letters(), "it is within the quiet hours")
	for _, at := range []string{"2026-02-01 07:01", "2026-02-01 07:11", "2026-02-03 09:00", "2026-02-27 09:00"} {
		d.step(at) // each a process that has just started
	}
	assert.Len(t, d.server.Letters(), 2, "each engineer of the site is told once")
	require.Len(t, d.lettersTo("ruth@firm.example"), 1)
	require.Len(t, d.lettersTo("ada@firm.example"), 1)
	letter := d.lettersTo("ruth@firm.example")[0]
	assert.Equal(t, "The note for January 2026 of Mill Cottage, Little Tarnbeck waits for your release", letter.Header.Get("Subject"))
	text := letter.Part(t, "text/plain")
	assert.Contains(t, text, "\nWith something to look at\n\nMill Cottage, Little Tarnbeck\n  - It tells of: ")
	assert.NotContains(t, text, "of the month was measured", "it was measured well")
	assert.Contains(t, text, "https://pages.firm.example/plants/mill-cottage/drafts/2026-01\n")
	assert.Contains(t, text, "https://pages.firm.example/notes?month=2026-01\n")
	assert.Contains(t, text, "coldweek note release mill-cottage --month 2026-01 --home /var/lib/coldweek\n")

	require.NoError(t, redraft(t, d))
	d.step("2026-02-28 09:00")
	assert.Len(t, d.server.Letters(), 2, "another draft by hand is no news")
}

// redraft issues the month and drafts it anew.
func redraft(t *testing.T, d *desk) error {
	d.release("ruth")
	require.NoError(t, d.archive.SetMail(archive.Entry{Site: d.records[0].ID, Month: "2026-01", Issue: 1}, archive.Mail{State: archive.Sent}))
	facts, err := d.writer().Facts(t.Context(), d.records[0], notetest.January, nil)
	if err == nil {
		_, err = d.writer().Draft(facts, "en")
	}
	return err
}

// engineersAreToldLater: the letter that waits is the one that goes, whatever
// happens meanwhile.
func engineersAreToldLater(t *testing.T, d *desk) {
	d.engineers = []notify.Engineer{quietUntilSeven("Ruth", "ruth@firm.example", notify.EverySite)}
	d.server.Stop()
	d.step("2026-02-01 08:00")
	letters, err := d.archive.Letters()
	require.NoError(t, err)
	require.Len(t, letters, 1)
	assert.Equal(t, archive.Waiting, letters[0].Mail.State)
	assert.Equal(t, "08:05", letters[0].Mail.Next.Format("15:04"))
	assert.NotEmpty(t, letters[0].Mail.Why)
	d.server.Resume()
	d.step("2026-02-01 08:03")
	assert.Empty(t, d.server.Letters(), "not before its time")
	d.step("2026-02-01 08:10")
	d.step("2026-02-01 08:20")
	require.Len(t, d.server.Letters(), 1)
	assert.Equal(t, strings.TrimSpace(letters[0].Text), strings.TrimSpace(d.server.Letters()[0].Part(t, "text/plain")))
}

func engineersLetterCutShort(t *testing.T, d *desk) {
	d.engineers = []notify.Engineer{quietUntilSeven("Ruth", "ruth@firm.example", notify.EverySite)}
	d.step("2026-02-01 06:01") // written, and within the quiet hours
	before, err := d.archive.Letters()
	require.NoError(t, err)
	require.Len(t, before, 1)
	d.step("2026-02-01 08:10")
	require.NoError(t, d.archive.PutLetter(before[0]))
	d.step("2026-02-01 08:20")
	d.step("2026-02-01 08:30")
	letters := d.server.Letters()
	require.Len(t, letters, 2)
	assert.Equal(t, letters[0].Raw, letters[1].Raw, "it comes again as the same letter")
}

// lateDraftIsNamed: a site that lacks readings holds the letter up for a day, and
// is named in it.
func lateDraftIsNamed(t *testing.T, d *desk) {
	d.engineers = []notify.Engineer{quietUntilSeven("Ruth", "ruth@firm.example", notify.EverySite)}
	late := *d.records[0]
	late.ID, late.Name = "late-barn", "Late Barn"
	never, quiet := late, late
	never.ID, never.Note = "never-barn", &site.Note{Send: site.SendNever}
	quiet.ID = "quiet-barn" // has never sent a reading
	d.records = append(d.records, &late, &never, &quiet)
	d.plant.Late(t, late.ID)
	d.step("2026-02-01 08:00")
	assert.True(t, d.drafted())
	d.step("2026-02-02 05:00")
	assert.Empty(t, d.server.Letters(), "the barn's draft may come yet")
	d.step("2026-02-02 07:10")
	require.Len(t, d.server.Letters(), 1)
	text := d.server.Letters()[0].Part(t, "text/plain")
	assert.Contains(t, text, "Not drafted yet, as readings are missing\n  - Late Barn: by Fri 6 Feb, 00:00\n")
	assert.NotContains(t, text, "never-barn")
	assert.NotContains(t, text, "quiet-barn")
	d.step("2026-02-07 08:00")
	assert.Len(t, d.server.Letters(), 1)
	_, err := d.archive.Draft(late.ID, notetest.January)
	assert.NoError(t, err)
}

func releasedBefore(t *testing.T, d *desk) {
	d.step("2026-02-01 06:01")
	d.release("ruth")
	d.engineers = []notify.Engineer{quietUntilSeven("Ruth", "ruth@firm.example", notify.EverySite)}
	d.step("2026-02-01 08:00")
	d.step("2026-02-20 08:00")
	assert.Empty(t, d.lettersTo("ruth@firm.example"))
	assert.Len(t, d.lettersTo("mueller@home.example"), 1)
}

// nobodyToTell: without e-mail the log says so, once.
func nobodyToTell(t *testing.T, d *desk) {
	d.engineers, d.noMail = []notify.Engineer{quietUntilSeven("Ruth", "ruth@firm.example", notify.EverySite)}, true
	d.step("2026-02-01 08:00")
	assert.Equal(t, 1, strings.Count(d.log.String(), "nobody is told by e-mail"))
	d.log.Reset()
	d.now = d.now.Add(time.Hour)
	p := d.poster()
	p.Step(t.Context())
	p.Step(t.Context())
	assert.Equal(t, 1, strings.Count(d.log.String(), "nobody is told by e-mail"))
	letters, err := d.archive.Letters()
	require.NoError(t, err)
	assert.Empty(t, letters, "and nothing piles up")
}
