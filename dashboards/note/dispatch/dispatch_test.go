package dispatch_test

import (
	"bytes"
	"io"
	"log/slog"
	"mime"
	"net/mail"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/dispatch"
	"coldweek/dashboards/note/notetest"
	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
)

// desk is a deployment whose clock the test sets.
type desk struct {
	t       *testing.T
	plant   *notetest.Plant
	server  *mailtest.Server
	archive *archive.Archive
	dir     string
	now     time.Time
	records []*site.Record

	engineers []notify.Engineer
	log       bytes.Buffer
	noMail    bool
}

func newDesk(t *testing.T, plant *notetest.Plant) *desk {
	t.Helper()
	record := *plant.Record
	record.Contact = &site.Contact{Engineer: "Ruth", Homeowner: "Die Müllers", HomeownerEmail: "mueller@home.example", EngineerEmail: "ruth@firm.example"}
	d := &desk{t: t, plant: plant, server: mailtest.Start(t, mailtest.Options{}), dir: filepath.Join(t.TempDir(), "notes"), records: []*site.Record{&record}}
	var err error
	d.archive, err = archive.Open(d.dir)
	require.NoError(t, err)
	return d
}

func (d *desk) send(how string) { d.records[0].Note = &site.Note{Send: how} }

// step is a look of a process that has just started.
func (d *desk) step(at string) {
	d.t.Helper()
	var err error
	d.now, err = time.Parse("2006-01-02 15:04", at)
	require.NoError(d.t, err)
	d.poster().Step(d.t.Context())
}

func (d *desk) writer() *dispatch.Writer {
	return &dispatch.Writer{Archive: d.archive, Store: d.plant.Store, Now: func() time.Time { return d.now }}
}

func (d *desk) poster() *dispatch.Poster {
	o := dispatch.Options{
		Writer: *d.writer(), Dir: d.dir, Records: func() []*site.Record { return d.records },
		Mail:   &deliver.MailServer{Host: "127.0.0.1", Port: d.server.Port(), From: &mail.Address{Address: "notes@firm.example"}, TLS: deliver.NoTLS},
		Logger: slog.New(slog.NewTextHandler(&d.log, nil)), Engineers: d.engineers, PagesURL: "https://pages.firm.example/", Home: "/var/lib/coldweek",
	}
	if d.noMail {
		o.Mail = nil
	}
	return dispatch.New(o)
}

func (d *desk) drafted() bool {
	d.t.Helper()
	_, err := d.archive.Draft(d.records[0].ID, notetest.January)
	return err == nil
}

func (d *desk) release(by string) archive.Entry {
	d.t.Helper()
	e, err := d.writer().Release(d.records[0], notetest.January, by)
	require.NoError(d.t, err)
	return e
}

// state is what became of an issue's e-mail.
func (d *desk) state(issue int) archive.Mail {
	d.t.Helper()
	m, err := d.archive.Mail(archive.Entry{Site: d.records[0].ID, Month: notetest.January.String(), Issue: issue})
	require.NoError(d.t, err)
	return m
}

// forPlant gives a test a new desk for the same plant.
func forPlant(plant *notetest.Plant, test func(t *testing.T, d *desk)) func(*testing.T) {
	return func(t *testing.T) { test(t, newDesk(t, plant)) }
}

func TestOfAWellMeasuredMonth(t *testing.T) {
	plant := notetest.Play(t, rig.Houses()[1], notetest.January, nil)
	t.Run("drafts come when the month is over", forPlant(plant, draftsComeInTime))
	t.Run("a release is sent once", forPlant(plant, releasesAreSentOnce))
	t.Run("at once", forPlant(plant, atOnce))
	t.Run("never", forPlant(plant, never))
	t.Run("while the server is down", forPlant(plant, serverDown))
	t.Run("refused", forPlant(plant, refused))
	t.Run("cut short", forPlant(plant, cutShort))
	t.Run("a second issue", forPlant(plant, secondIssue))
	t.Run("engineers are told of drafts once", forPlant(plant, engineersAreTold))
	t.Run("engineers are told while the server is down", forPlant(plant, engineersAreToldLater))
	t.Run("a letter to an engineer that was cut short", forPlant(plant, engineersLetterCutShort))
	t.Run("a late draft is named", forPlant(plant, lateDraftIsNamed))
	t.Run("released before the letter", forPlant(plant, releasedBefore))
	t.Run("nobody to tell", forPlant(plant, nobodyToTell))
}

func draftsComeInTime(t *testing.T, d *desk) {
	d.step("2026-01-31 23:00")
	assert.False(t, d.drafted())
	d.step("2026-02-01 03:00")
	assert.False(t, d.drafted(), "the last readings may be under way")
	d.step("2026-02-01 06:01")
	assert.True(t, d.drafted())
	e, err := d.archive.Draft(d.records[0].ID, notetest.January)
	require.NoError(t, err)
	d.step("2026-02-01 09:00")
	again, err := d.archive.Draft(d.records[0].ID, notetest.January)
	require.NoError(t, err)
	assert.Equal(t, e, again, "what the engineer looks at does not change under them")
	assert.Empty(t, d.server.Letters())
}

func releasesAreSentOnce(t *testing.T, d *desk) {
	d.step("2026-02-01 07:00")
	draft, err := d.archive.File(d.records[0].ID, notetest.January, 0, archive.PDFFile)
	require.NoError(t, err)
	d.release("ruth")
	for _, at := range []string{"2026-02-01 08:00", "2026-02-01 08:10", "2026-02-02 08:00", "2026-02-20 08:00"} {
		d.step(at)
	}
	require.Len(t, d.server.Letters(), 1)
	assert.Equal(t, archive.Sent, d.state(1).State)
	got := d.server.Letters()[0]
	assert.Equal(t, []string{"mueller@home.example"}, got.To)
	assert.Equal(t, "<ruth@firm.example>", got.Header.Get("Reply-To"))
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	require.NoError(t, err)
	assert.Equal(t, "Your heating in January\u00a02026: Mill Cottage, Little Tarnbeck", strings.ReplaceAll(subject, " 2026", "\u00a02026"))
	assert.Equal(t, "<coldweek.note.mill-cottage.2026-01.1@firm.example>", got.Header.Get("Message-ID"))
	body, err := io.ReadAll(got.Body)
	require.NoError(t, err)
	for _, part := range []string{"text/plain", "text/html", "application/pdf", "mill-cottage-2026-01.pdf"} {
		assert.True(t, bytes.Contains(body, []byte(part)), part)
	}
	issued, err := d.archive.File(d.records[0].ID, notetest.January, 1, archive.PDFFile)
	require.NoError(t, err)
	assert.Equal(t, draft, issued)
}

func atOnce(t *testing.T, d *desk) {
	d.send(site.SendAtOnce)
	d.step("2026-02-01 07:00")
	d.step("2026-02-01 07:10")
	require.Len(t, d.server.Letters(), 1)
	issues, err := d.archive.Issues(d.records[0].ID, notetest.January)
	require.NoError(t, err)
	assert.Contains(t, issues[0].ReleasedBy, "at_once")
}

func never(t *testing.T, d *desk) {
	d.send(site.SendNever)
	d.step("2026-02-20 07:00")
	assert.False(t, d.drafted())
}

// serverDown: what is released waits, longer each time, over restarts, and is
// neither lost nor sent twice.
func serverDown(t *testing.T, d *desk) {
	d.step("2026-02-01 07:00")
	d.release("ruth")
	d.server.Stop()
	d.step("2026-02-01 08:00")
	m := d.state(1)
	assert.Equal(t, archive.Waiting, m.State)
	assert.Equal(t, "08:05", m.Next.Format("15:04"))
	assert.NotEmpty(t, m.Why)
	d.step("2026-02-01 08:03")
	assert.Equal(t, 1, d.state(1).Tries, "not before its time")
	d.step("2026-02-01 08:06")
	assert.Equal(t, "08:16", d.state(1).Next.Format("15:04"))
	d.server.Resume()
	d.step("2026-02-01 08:10")
	assert.Empty(t, d.server.Letters())
	d.step("2026-02-01 08:20")
	d.step("2026-02-01 08:40")
	assert.Len(t, d.server.Letters(), 1)
	assert.Equal(t, archive.Sent, d.state(1).State)
}

// cutShort: the mail server took the letter and the process ended before that was
// kept. It comes again, as the same letter.
func cutShort(t *testing.T, d *desk) {
	d.step("2026-02-01 07:00")
	e := d.release("ruth")
	before := d.state(1)
	d.step("2026-02-01 08:00")
	require.NoError(t, d.archive.SetMail(e, before))
	d.step("2026-02-01 08:10")
	d.step("2026-02-01 08:20")
	require.Len(t, d.server.Letters(), 2)
	assert.Equal(t, d.server.Letters()[0].Header.Get("Message-ID"), d.server.Letters()[1].Header.Get("Message-ID"))
}

func refused(t *testing.T, d *desk) {
	d.server.Refuse(func(string) error { return &smtp.SMTPError{Code: 550, Message: "no such user"} })
	d.step("2026-02-01 07:00")
	d.release("ruth")
	d.step("2026-02-01 08:00")
	d.step("2026-02-02 08:00")
	assert.Equal(t, archive.Refused, d.state(1).State)
	assert.Contains(t, d.state(1).Why, "no such user")
	assert.Empty(t, d.server.Letters())
}

func secondIssue(t *testing.T, d *desk) {
	d.step("2026-02-01 07:00")
	d.release("ruth")
	d.step("2026-02-01 08:00")
	d.now = d.now.AddDate(0, 0, 4)
	facts, err := d.writer().Facts(t.Context(), d.records[0], notetest.January, nil)
	require.NoError(t, err)
	require.NotNil(t, facts.Previous)
	*facts.This.Electricity.TotalKWh += 12 // late readings
	_, err = d.writer().Draft(facts, "en")
	require.NoError(t, err)
	assert.Equal(t, 2, d.release("ruth").Issue)
	d.step("2026-02-05 09:00")
	require.Len(t, d.server.Letters(), 2)
	text, err := d.archive.File(d.records[0].ID, notetest.January, 2, archive.TextFile)
	require.NoError(t, err)
	said := strings.ReplaceAll(string(text), "\n", " ")
	assert.Contains(t, said, "This is issue 2. It replaces the one of 1\u00a0February\u00a02026. What is different: Electricity")
	assert.Contains(t, d.server.Letters()[1].Header.Get("Message-ID"), ".2@")
	first, err := d.archive.File(d.records[0].ID, notetest.January, 1, archive.TextFile)
	require.NoError(t, err)
	assert.NotContains(t, string(first), "This is issue")
}

// TestAThinMonthWaits for more readings, then for the engineer, even where the
// record lets notes go at once.
func TestAThinMonthWaits(t *testing.T) {
	gap := job.Window{From: time.Date(2026, 1, 8, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 1, 24, 0, 0, 0, 0, time.UTC)}
	d := newDesk(t, notetest.Play(t, rig.Houses()[1], notetest.January, []job.Window{gap}))
	d.send(site.SendAtOnce)
	d.step("2026-02-02 07:00")
	assert.False(t, d.drafted())
	d.step("2026-02-06 01:00")
	assert.True(t, d.drafted())
	d.step("2026-02-07 01:00")
	assert.Empty(t, d.server.Letters())
	d.release("ruth")
	d.step("2026-02-07 02:00")
	assert.Len(t, d.server.Letters(), 1)
}

func TestASiteWithoutReadingsGetsNoDraft(t *testing.T) {
	record, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Europe/London\n"))
	require.NoError(t, err)
	d := newDesk(t, &notetest.Plant{Record: record, Store: notetest.Empty(t), Month: notetest.January})
	d.step("2026-02-20 07:00")
	assert.False(t, d.drafted())
}

// TestAMonthBeforeTheFirstReadingGetsNoDraft: a plant is fitted in February.
func TestAMonthBeforeTheFirstReadingGetsNoDraft(t *testing.T) {
	record, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Europe/London\n"))
	require.NoError(t, err)
	st := notetest.Empty(t)
	_, err = st.Append(t.Context(), []ingest.Reading{{Site: "mill", Channel: ingest.Channel(ingest.FlowTemp), Time: time.Date(2026, 2, 1, 0, 0, 10, 0, time.UTC), Value: 35}})
	require.NoError(t, err)
	d := newDesk(t, &notetest.Plant{Record: record, Store: st, Month: notetest.January})
	d.step("2026-02-20 07:00")
	assert.False(t, d.drafted())
	assert.Empty(t, d.server.Letters())
}

// TestOnlyOneProcessSends: whoever comes second is told so, be it even the one that
// was to go on.
func TestOnlyOneProcessSends(t *testing.T) {
	record, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Europe/London\n"))
	require.NoError(t, err)
	d := newDesk(t, &notetest.Plant{Record: record, Store: notetest.Empty(t), Month: note.Month{Year: 2026, Month: time.January}})
	d.now = notetest.Written
	ctx, stop := contextFor(t)
	done := make(chan error, 1)
	start := func() { go func() { done <- d.poster().Run(ctx) }() }
	start()
	require.Eventually(t, func() bool {
		select {
		case err := <-done:
			assert.ErrorContains(t, err, "another process sends")
			start()
		default:
		}
		err := d.poster().Run(stopped())
		return err != nil && strings.Contains(err.Error(), "another process sends")
	}, 10*time.Second, 5*time.Millisecond)
	stop()
	assert.ErrorContains(t, <-done, "canceled")
}
