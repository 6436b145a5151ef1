package notify_test

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
)

// lettersBy returns each letter once by its Message-ID, in order, as a mail
// program does that honours it, and fails when one differs from its double.
func (d *desk) lettersOnce() []string {
	d.t.Helper()
	first := map[string]string{}
	var subjects []string
	for i, l := range d.mail.Letters() {
		id := l.Header.Get("Message-ID")
		before, doubled := first[id]
		if !doubled {
			first[id] = string(l.Raw)
			subjects = append(subjects, d.subjects()[i])
			continue
		}
		assert.Equal(d.t, before, string(l.Raw))
	}
	return subjects
}

func TestWhatAMailServerMissedArrivesInOrder(t *testing.T) {
	d := open(t, ada())
	d.mail.Stop()
	var want []string
	for i := range 6 {
		name := fmt.Sprintf("House %d", i)
		d.put(at(fmt.Sprintf("house-%d", i), name, lowFlow(d.now)))
		d.until(d.now.Add(40 * time.Minute)) // four hours in all
		want = append(want, "Urgent: "+name+": Flow 310 l/h, below the 600 l/h the maker asks for")
		if i == 3 {
			d.restart()
		}
	}
	assert.Empty(t, d.subjects())
	pending, err := d.Pending(t.Context())
	require.NoError(t, err)
	require.Len(t, pending, 6)
	assert.Equal(t, notify.Trying, pending[0].State)
	assert.Greater(t, pending[0].Attempts, 10)
	assert.Contains(t, pending[0].Problem, "connection refused")
	d.mail.Resume()
	d.until(d.now.Add(30 * time.Minute))
	assert.Equal(t, want, d.subjects())
	assert.Less(t, d.Ask("SELECT max(attempts) FROM message"), int64(40), "with growing pauses")
}

func TestALetterOfUnknownFateComesAgainUnderItsName(t *testing.T) {
	d := open(t, ada())
	d.mail.HangUp(2)
	d.put(lowFlow(d.now))
	d.until(d.now.Add(time.Hour))
	assert.Len(t, d.subjects(), 3, "twice the server took it and did not say so")
	assert.Len(t, d.lettersOnce(), 1)
}

func TestOneRefusedLetterHoldsUpNoOther(t *testing.T) {
	bea := ada()
	bea.Name, bea.EMail = "Bea", lowerAddress("nobody@firm.example")
	cy := ada()
	cy.Name, cy.EMail = "Cy", lowerAddress("full@firm.example")
	d := open(t, bea, cy, ada())
	full := true
	d.mail.Refuse(func(to string) error {
		switch {
		case to == "nobody@firm.example":
			return &smtp.SMTPError{Code: 550, Message: "no such user here"}
		case to == "full@firm.example" && full:
			return &smtp.SMTPError{Code: 452, Message: "mailbox full"}
		}
		return nil
	})
	d.put(lowFlow(d.now))
	d.step()
	assert.Len(t, d.subjects(), 1)
	assert.Contains(t, d.log.String(), "given up: this engineer is not told by this way")
	pending, err := d.Pending(t.Context())
	require.NoError(t, err)
	require.Len(t, pending, 2)
	assert.Equal(t, "Bea", pending[0].Engineer)
	assert.Equal(t, notify.GivenUp, pending[0].State)
	assert.Contains(t, pending[0].Problem, "no such user here")
	assert.Equal(t, notify.Trying, pending[1].State)
	full = false
	d.until(d.now.Add(time.Hour))
	assert.Len(t, d.subjects(), 2)
}

func TestAfterFiveDaysItIsGivenUp(t *testing.T) {
	d := open(t, ada())
	d.mail.Stop()
	d.put(lowFlow(d.now))
	d.until(d.now.Add(5*24*time.Hour - time.Minute))
	assert.Zero(t, d.Ask("SELECT count(*) FROM message WHERE given_up_ms IS NOT NULL"))
	d.until(d.now.Add(time.Hour))
	assert.EqualValues(t, 1, d.Ask("SELECT count(*) FROM message WHERE given_up_ms IS NOT NULL"))
	assert.True(t, d.step().IsZero(), "and nothing waits")
	d.mail.Resume()
	d.put(at("moor-farm", "Moor Farm", lowFlow(d.now)))
	d.until(d.now.Add(time.Hour))
	assert.Len(t, d.subjects(), 1, "later ones go out")
}

func TestRetriesKeepToQuietHours(t *testing.T) {
	d := open(t, ada())
	d.put(curveHigh(d.now))
	d.mail.Stop()
	d.until(time.Date(2026, 1, 15, 22, 30, 0, 0, london))
	d.mail.Resume()
	d.until(time.Date(2026, 1, 16, 6, 29, 0, 0, london))
	assert.Empty(t, d.subjects())
	d.until(time.Date(2026, 1, 16, 6, 30, 0, 0, london))
	assert.Len(t, d.subjects(), 1)
}

func TestAnEngineerTakenOutOfTheConfigurationIsNotTold(t *testing.T) {
	d := open(t, ada())
	d.mail.Stop()
	d.put(lowFlow(d.now), curveHigh(d.now))
	d.step()
	d.options.Engineers = nil
	d.restart()
	d.mail.Resume()
	d.until(d.now.Add(48 * time.Hour))
	assert.Empty(t, d.subjects())
	assert.Contains(t, d.log.String(), "coldweek.yaml has no e-mail of Ada Müller")
	assert.EqualValues(t, 1, d.Ask("SELECT count(*) FROM notice WHERE dropped = 'coldweek.yaml has no e-mail of Ada Müller'"))
}

func TestWebhooksGetSignedPostsOnce(t *testing.T) {
	h, address := newHook(t)
	g := ada()
	g.EMail, g.Webhook = nil, address
	d := open(t, g)
	h.answer(http.StatusServiceUnavailable)
	d.put(lowFlow(d.now), curveHigh(d.now))
	d.until(d.now.Add(2 * time.Hour))
	assert.Empty(t, h.got())
	h.answer(http.StatusOK)
	d.put(ended(lowFlow(wednesday), d.now))
	d.until(d.now.Add(24 * time.Hour))
	got := h.got()
	require.Len(t, got, 3)
	for i, kind := range []string{"urgent", "ended", "digest"} {
		p := got[i]
		assert.Equal(t, kind, p.Type)
		assert.Equal(t, p.ID, p.Key)
		assert.Equal(t, "Ada Müller", p.Engineer)
		assert.Equal(t, "sha256="+deliver.Sign("between us", p.Timestamp, p.Body), p.Signature)
		require.Len(t, p.Findings, 1)
		assert.Equal(t, "mill-cottage", p.Findings[0].Site)
	}
	assert.Equal(t, "low_flow", got[0].Findings[0].Kind)
	assert.Equal(t, []string{"opened"}, got[0].Findings[0].Happened)
	assert.Equal(t, "open", got[0].Findings[0].State)
	assert.Equal(t, "ended", got[1].Findings[0].State)
	assert.Equal(t, "curve_high", got[2].Findings[0].Kind)

	h.answer(http.StatusGone)
	d.put(at("moor-farm", "Moor Farm", lowFlow(d.now)))
	d.step()
	pending, err := d.Pending(t.Context())
	require.NoError(t, err)
	require.Len(t, pending, 1)
	assert.Equal(t, notify.GivenUp, pending[0].State)
	assert.Equal(t, "webhook answers 410 Gone: said the hook", pending[0].Problem)
}

// TestAWayThatHangsHoldsUpNoOther runs for real: a webhook that never answers,
// beside e-mail.
func TestAWayThatHangsHoldsUpNoOther(t *testing.T) {
	_, address := newHook(t)
	reached, over := make(chan struct{}, 10), make(chan struct{})
	silent := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		reached <- struct{}{}
		<-over
	}))
	defer silent.Close()
	defer close(over)
	address.URL = silent.URL
	g := ada()
	g.Webhook = address
	d := open(t, g)
	ctx, stop := context.WithCancel(t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- d.Run(ctx) }()
	d.put(lowFlow(d.now))
	<-reached
	for i := range 3 {
		d.put(at(fmt.Sprintf("house-%d", i), "", lowFlow(d.now)))
		assert.Eventually(t, func() bool { return len(d.mail.Letters()) >= i+2 }, 20*time.Second, 5*time.Millisecond)
	}
	stop()
	require.NoError(t, <-stopped)
	assert.EqualValues(t, 0, d.Ask("SELECT max(attempts) FROM message WHERE way = 'webhook'"), "a stop is no failure")
}

// TestAStopInterruptsAMailServerThatSaysNothing would take minutes, did it not.
func TestAStopInterruptsAMailServerThatSaysNothing(t *testing.T) {
	d := open(t, ada())
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer listener.Close()
	d.options.Mail.Port = listener.Addr().(*net.TCPAddr).Port
	d.restart()
	ctx, stop := context.WithCancel(t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- d.Run(ctx) }()
	d.put(lowFlow(d.now))
	conn, err := listener.Accept()
	require.NoError(t, err)
	defer conn.Close()
	stop()
	require.NoError(t, <-stopped)
	assert.EqualValues(t, 0, d.Ask("SELECT max(attempts) FROM message"))
}

func TestAWebhookThatCannotTakeOneMessageGetsTheOthers(t *testing.T) {
	h, address := newHook(t)
	h.chokesOn = "Alder House"
	g := ada()
	g.EMail, g.Webhook = nil, address
	d := open(t, g)
	alder := at("alder", "Alder House", lowFlow(d.now))
	d.put(alder)
	d.step()
	d.put(lowFlow(d.now), ended(alder, d.now.Add(time.Minute)))
	d.until(d.now.Add(2 * time.Hour))
	require.Len(t, h.got(), 1)
	assert.Equal(t, "mill-cottage", h.got()[0].Findings[0].Site)
	h.chokesOn = ""
	d.until(d.now.Add(2 * time.Hour))
	require.Len(t, h.got(), 3)
	assert.Equal(t, "open", h.got()[1].Findings[0].State, "the beginning before the end")
	assert.Equal(t, "ended", h.got()[2].Findings[0].State)
}

func TestAClockThatWasWrongHoldsNothingUp(t *testing.T) {
	d := open(t, ada())
	d.now = wednesday.AddDate(1, 0, 0)
	d.mail.Stop()
	d.put(lowFlow(wednesday), curveHigh(wednesday))
	d.step()
	d.now = wednesday // set right
	d.mail.Resume()
	d.until(d.now.Add(time.Minute))
	assert.Len(t, d.subjects(), 2)

	d = open(t, ada())
	d.now = time.Date(1970, 1, 1, 12, 0, 0, 0, time.UTC)
	d.mail.Stop()
	d.put(lowFlow(d.now))
	d.step()
	d.now = wednesday
	d.step()
	d.mail.Resume()
	d.until(d.now.Add(time.Hour))
	assert.Len(t, d.subjects(), 1, "not given up for its age")
}

func TestOnlyOneProcessSends(t *testing.T) {
	d := open(t, ada())
	ctx, stop := context.WithCancel(t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- d.Run(ctx) }()
	d.put(lowFlow(d.now))
	assert.Eventually(t, func() bool { return len(d.mail.Letters()) == 1 }, 20*time.Second, 5*time.Millisecond)
	second, err := notify.Open(t.Context(), d.options)
	require.NoError(t, err)
	defer second.Close()
	require.NoError(t, second.Put(t.Context(), at("moor-farm", "", lowFlow(d.now))), "but all may put")
	require.ErrorContains(t, second.Run(t.Context()), "another process sends from it")
	stop()
	require.NoError(t, <-stopped)
}

func TestWhatIsSettledIsForgottenAfterAWhile(t *testing.T) {
	d := open(t, ada())
	over, lasting := lowFlow(d.now), at("moor-farm", "Moor Farm", lowFlow(d.now))
	d.put(over, lasting)
	d.step()
	d.put(ended(over, d.now))
	d.until(d.now.Add(80 * 24 * time.Hour))
	assert.EqualValues(t, 3, d.Ask("SELECT count(*) FROM event"))
	d.until(d.now.Add(12 * 24 * time.Hour))
	d.restart()
	d.step()
	assert.EqualValues(t, 1, d.Ask("SELECT count(*) FROM event"), "that which lasts")
	before := len(d.subjects())
	d.put(lasting)
	d.until(d.now.Add(48 * time.Hour))
	assert.Len(t, d.subjects(), before, "and is not told again")
	assert.EqualValues(t, 1, d.Ask("SELECT count(*) FROM message"))
}

func TestTestMessagesSayWhatHappened(t *testing.T) {
	h, address := newHook(t)
	g := ada()
	g.Webhook = address
	bea := ada()
	bea.Name, bea.EMail = "Bea", lowerAddress("bea@firm.example")
	d := open(t, g, bea)
	h.answer(http.StatusNotFound)
	tried := d.Test(t.Context(), "Ada Müller")
	require.Len(t, tried, 2)
	assert.NoError(t, tried[0].Err)
	assert.Equal(t, "ada@firm.example", tried[0].To)
	assert.ErrorContains(t, tried[1].Err, "404 Not Found")
	assert.Equal(t, []string{"Test from coldweek"}, d.subjects())
	assert.Contains(t, d.text(0), "Nothing is wrong anywhere")
	assert.Len(t, d.Test(t.Context(), ""), 3)
}
