package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/mailtest"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/publish"
	"coldweek/ingest/store"
)

const (
	stormDays  = 3
	stormSteps = 144 // half an hour of the plants each
)

// storm is a chain whose middle is killed again and again while eight plants
// publish three days and what is noticed of them is told.
type storm struct {
	*chain
	from     time.Time
	digest   time.Time
	rigs     []*rig.Rig
	out      *publish.Publisher
	readings map[string]map[ingest.Channel]map[int64]float64 // acknowledged, by site and time in ms
	kills    int

	engineers []engineerConfig
}

// stormLength is how long the storm lasts; COLDWEEK_SOAK=10m makes it longer.
func stormLength(t *testing.T) time.Duration {
	length, err := time.ParseDuration(os.Getenv("COLDWEEK_SOAK"))
	if os.Getenv("COLDWEEK_SOAK") == "" {
		return time.Minute
	}
	require.NoError(t, err)
	return length
}

// newStorm has six engineers: Ada, who also has the topic, Bea, who looks after the
// last plant only, and others who get their digest while the storm lasts.
func newStorm(t *testing.T, length time.Duration) *storm {
	now := time.Now()
	s := &storm{from: now.Add(-stormDays * 24 * time.Hour), readings: map[string]map[ingest.Channel]map[int64]float64{}}
	s.digest = now.Add(length + 90*time.Second).Truncate(time.Minute).UTC()
	plants := []rig.Plant{
		houseWith(t, "orchard-house", rig.Trouble{Kind: rig.FlowStep, At: s.from.Add(30 * time.Hour), Size: 0.3}),
		houseWith(t, "mill-cottage", rig.Trouble{Kind: rig.SwappedSensors, At: s.from.Add(40 * time.Hour)}), // it cycles too
		houseWith(t, "lindenhof", rig.Trouble{Kind: rig.BlockingStrainer, At: s.from.Add(6 * time.Hour), Size: 25}),
	}
	for seed, kind := range []rig.Kind{rig.FlowStep, rig.SwappedSensors, rig.OutdoorStuck, rig.WrongPowerUnit, rig.FrostDanger} {
		plant := rig.Random(uint64(seed + 1))
		plant.Metering.Interval = time.Minute
		plant.Troubles = []rig.Trouble{{Kind: kind, At: s.from.Add(time.Duration(12*(seed+1)) * time.Hour)}}
		plants = append(plants, plant)
	}
	engineers := []engineerConfig{
		{Name: "Ada", DigestAt: s.digest.Format("15:04")},
		{Name: "Bea", DigestAt: s.digest.Format("15:04"), Sites: []string{plants[len(plants)-1].ID}},
	}
	for _, name := range []string{"Cy", "Di", "Ed", "Flo"} {
		engineers = append(engineers, engineerConfig{Name: name, DigestAt: now.Add(length/2 + 30*time.Second).UTC().Format("15:04")})
	}
	s.chain = newChain(t, engineers, plants...)
	s.engineers = engineers
	for _, p := range plants {
		r, err := rig.New(p, s.from)
		require.NoError(t, err)
		s.rigs = append(s.rigs, r)
	}
	s.out = publish.New(s.client, publish.Options{Format: publish.SenML, Batch: 10})
	return s
}

// advance publishes what the plants sample up to a time.
func (s *storm) advance(until time.Time) {
	for _, r := range s.rigs {
		s.play(r, s.out, until, s.note)
	}
}

func (s *storm) note(r ingest.Reading) {
	of := s.readings[r.Site]
	if of == nil {
		of = map[ingest.Channel]map[int64]float64{}
		s.readings[r.Site] = of
	}
	if of[r.Channel] == nil {
		of[r.Channel] = map[int64]float64{}
	}
	of[r.Channel][r.Time.UnixMilli()] = r.Value
}

// rage has the plants play while coldweek is killed and begun again, at any
// moment of its start and its work, and its mail server and web server are now
// well, now slow, now away.
func (s *storm) rage(length time.Duration) {
	began, blow := time.Now(), time.Now()
	for step := range stormSteps {
		s.advance(s.from.Add(time.Duration(step+1) * stormDays * 24 * time.Hour / stormSteps))
		for due := began.Add(length * time.Duration(step+1) / stormSteps); time.Now().Before(due); time.Sleep(10 * time.Millisecond) {
			if time.Now().After(blow) {
				s.restart()
				blow = time.Now().Add(time.Duration(rand.N(4000)) * time.Millisecond)
			}
		}
	}
}

func (s *storm) restart() {
	s.serve.Kill()
	s.kills++
	s.weather()
	require.True(s.t, s.serve.Begin(func() bool { return true }, time.Minute))
}

// weather changes how the mail server and the web server are.
func (s *storm) weather() {
	s.mail.Stop()
	if rand.N(4) > 0 {
		s.mail.Resume()
	}
	s.mail.HangUp(rand.N(3) / 2) // takes one and does not say so
	slow := time.Duration(rand.N(2)*rand.N(1500)) * time.Millisecond
	s.mail.Refuse(func(string) error { time.Sleep(slow); return nil })
	away := rand.N(4)
	s.hook.answers(func() int {
		time.Sleep(slow)
		switch away {
		case 0:
			return 0 // takes it and hangs up
		case 1:
			return http.StatusServiceUnavailable
		}
		return http.StatusOK
	})
}

// clear has everything well again and waits until all that is due has been told.
func (s *storm) clear() *stores {
	s.serve.Kill()
	s.mail.Stop()
	s.mail.Resume()
	s.mail.HangUp(0)
	s.mail.Refuse(nil)
	s.hook.answers(nil)
	s.begin()
	s.advance(time.Now())
	calm := time.Now()
	st := s.open()
	require.Eventually(s.t, func() bool { return s.arrived(st) }, 2*time.Minute, 100*time.Millisecond)
	s.t.Logf("all readings are in after %v", time.Since(calm).Round(time.Millisecond))
	s.serve.Kill()
	s.begin() // and looks at once
	require.Eventually(s.t, func() bool {
		s.advance(time.Now())
		return time.Now().After(s.digest.Add(5*time.Second)) && !slices.ContainsFunc(s.pending(), func(p pendingNotice) bool { return p.State != notify.Waiting || p.At.Before(time.Now()) })
	}, 10*time.Minute, time.Second, "something waits still")
	return st
}

func (s *storm) pending() []pendingNotice {
	out, err := exec.Command(s.binary, "notify", "pending", "--json", "--home", s.dir).Output()
	require.NoError(s.t, err)
	var list []pendingNotice
	require.NoError(s.t, json.Unmarshal(out, &list))
	return list
}

// open opens the home's store beside the process that serves.
func (s *storm) open() *stores {
	st, err := (&app{streams: streams{err: os.Stderr}}).openStores(s.t.Context(), home{s.dir})
	require.NoError(s.t, err)
	s.t.Cleanup(func() { assert.NoError(s.t, st.close()) })
	return st
}

// arrived says whether each channel's last reading is stored, after which no other
// can come, as a session's messages come in order.
func (s *storm) arrived(st *stores) bool {
	for id, channels := range s.readings {
		extents, err := st.Extents(s.t.Context(), id)
		require.NoError(s.t, err)
		for _, e := range extents {
			if e.Last.UnixMilli() < slices.Max(slices.Collect(maps.Keys(channels[e.Channel]))) {
				return false
			}
		}
	}
	return true
}

// checkReadings checks that the store holds what was acknowledged and no more.
func (s *storm) checkReadings(st *stores) {
	total := 0
	for id, channels := range s.readings {
		extents, err := st.Extents(s.t.Context(), id)
		require.NoError(s.t, err)
		assert.Len(s.t, extents, len(channels), id)
		for channel, want := range channels {
			columns, err := st.Scan(s.t.Context(), id, []ingest.Channel{channel}, s.from.Add(-time.Hour), time.Now().Add(time.Hour))
			require.NoError(s.t, err)
			assert.Equal(s.t, len(want), columns[0].Len(), "%s of %s", channel, id)
			for i, ms := range columns[0].UnixMS {
				if v, sent := want[ms]; !sent || v != columns[0].Value[i] {
					assert.Fail(s.t, "a reading that was not sent", "%s of %s at %d", channel, id, ms)
				}
			}
			total += len(want)
		}
	}
	s.t.Logf("%d readings acknowledged, each stored once", total)
}

// name is what makes a finding this one.
func name(site, kind string, since time.Time) string {
	return site + " " + kind + " since " + since.UTC().Format(time.RFC3339)
}

// telling is how often an engineer was told each step of each finding.
type telling map[string]map[string]int

func (told telling) count(f string, what string) {
	if told[f] == nil {
		told[f] = map[string]int{}
	}
	told[f][what]++
}

// toldTo counts in how many posts of different ids an engineer is told, those that
// wait for the next digest included.
func (s *storm) toldTo(engineer string) telling {
	told := telling{}
	_, posts := s.hook.taken()
	for _, p := range posts {
		for _, f := range p.Findings {
			for _, what := range f.Happened {
				if p.Engineer == engineer {
					told.count(name(f.Site, f.Kind, f.Since), what)
				}
			}
		}
	}
	for _, p := range s.pending() {
		for _, e := range p.Events {
			if p.Way == notify.Webhook && p.Engineer == engineer {
				told.count(name(e.Site, e.Kind, e.Since), string(e.What))
			}
		}
	}
	return told
}

// checkTold checks that every finding of a run over history was told, by posts,
// each as it now is.
func (s *storm) checkTold(st *stores, engineer string, open []string, sites ...string) {
	told := s.toldTo(engineer)
	s.t.Logf("%s was told of %d findings", engineer, len(told))
	for f, steps := range told {
		begun := steps["opened"] + steps["reopened"]
		assert.LessOrEqual(s.t, steps["opened"], 1, "%s: its beginning, told to %s", f, engineer)
		assert.LessOrEqual(s.t, steps["raised"], 1, "%s: that it is worse, told to %s", f, engineer)
		if begun == 0 {
			begun = steps["raised"] // told at once, and withdrawn before the digest that would have told its beginning
		}
		wantEnded := begun
		if slices.Contains(open, f) {
			wantEnded--
		}
		assert.Equal(s.t, wantEnded, steps["ended"], "%s: its end, told to %s: %v", f, engineer, steps)
	}
	for _, id := range sites {
		record, err := home{s.dir}.record(id)
		require.NoError(s.t, err)
		window := job.WindowAround(s.from.In(record.Zone()), time.Now().In(record.Zone()))
		found, err := job.History(s.t.Context(), st, record, window, nil)
		require.NoError(s.t, err)
		kept, err := st.Findings(s.t.Context(), id, s.from.Add(-24*time.Hour), time.Now().Add(time.Hour))
		require.NoError(s.t, err)
		stand := told.of(kept)
		for _, f := range found {
			if store.Severity(f.Severity) != store.Info {
				as := slices.IndexFunc(stand, func(k store.Finding) bool { return k.Kind == f.Kind && overlap(k.Since, k.Until, f.Since, f.Until) })
				assert.GreaterOrEqual(s.t, as, 0, "%s of %s, told to %s", job.FindingID(f.Kind, f.Since), id, engineer)
			}
		}
		for i, k := range stand {
			for _, other := range stand[i+1:] {
				assert.False(s.t, k.Kind == other.Kind && overlap(k.Since, k.Until, other.Since, other.Until), "%s and %s, both told to %s", name(id, k.Kind, k.Since), name(id, other.Kind, other.Since), engineer)
			}
		}
	}
}

// of returns the findings kept that were told and not withdrawn.
func (told telling) of(kept []store.Finding) []store.Finding {
	return slices.DeleteFunc(kept, func(k store.Finding) bool {
		return told[name(k.Site, k.Kind, k.Since)] == nil || k.Until.Equal(k.Since)
	})
}

// overlap says whether two spans of time do, of which one may last and have no end.
// A finding may have been found from other readings at first, and begin elsewhere.
func overlap(from, to, otherFrom, otherTo time.Time) bool {
	return (to.IsZero() || otherFrom.Before(to)) && (otherTo.IsZero() || from.Before(otherTo))
}

// checkLetters checks that letters and posts tell the same, each once.
func (s *storm) checkLetters() {
	allPosts, posts := s.hook.taken()
	allLetters, letters := s.lettersOnce()
	s.t.Logf("%d kills; %d letters, %d by Message-ID; %d posts, %d by Idempotency-Key", s.kills, len(allLetters), len(letters), len(allPosts), len(posts))
	texts := map[string][]string{}
	for _, l := range letters {
		texts[l.To[0]] = append(texts[l.To[0]], l.Part(s.t, "text/plain"))
	}
	for _, p := range posts {
		to := addressOf(p.Engineer)
		k := slices.IndexFunc(texts[to], p.saysTheSame)
		if assert.GreaterOrEqual(s.t, k, 0, "no letter says what this post does: %+v", p) {
			texts[to] = slices.Delete(texts[to], k, k+1)
		}
	}
	for to, left := range texts {
		assert.Empty(s.t, left, "letters to %s that no post corresponds to", to)
	}
}

// saysTheSame says whether a letter names all that the post does, where those of a
// kind at a site are one line that says how many they are.
func (p post) saysTheSame(letter string) bool {
	times, said := map[string]int{}, map[string]bool{}
	for _, f := range p.Findings {
		kind := f.Site + " " + f.Kind
		times[kind]++
		said[kind] = said[kind] || strings.Contains(letter, f.Title)
	}
	for kind, n := range times {
		if !said[kind] || n > 1 && !strings.Contains(letter, fmt.Sprintf("; %d times since", n)) {
			return false
		}
	}
	return true
}

// lettersOnce are the letters, and those without the ones of a Message-ID that
// came before, which are the same to the last byte.
func (s *storm) lettersOnce() (all, once []mailtest.Letter) {
	first := map[string]string{}
	all = s.mail.Letters()
	for _, l := range all {
		id := l.Header.Get("Message-ID")
		if before, doubled := first[id]; doubled {
			assert.Equal(s.t, before, string(l.Raw))
			continue
		}
		first[id] = string(l.Raw)
		once = append(once, l)
	}
	return all, once
}

// TestKillsLoseNothingAndTellNothingTwice: what was acknowledged is stored, each
// finding of a run over history is told to each engineer by each way once, and the
// topic is what is open. A letter or post may arrive twice, where the process or the
// connection ended between its being taken and our noting that; it then has the same
// Message-ID or Idempotency-Key, and counts once here as with any receiver that
// looks at it.
func TestKillsLoseNothingAndTellNothingTwice(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes minutes")
	}
	length := stormLength(t)
	s := newStorm(t, length)
	s.rage(length)
	st := s.clear()
	require.Eventually(t, func() bool { return s.arrived(st) }, 2*time.Minute, 100*time.Millisecond)
	s.checkReadings(st)
	s.checkLetters()
	var sites, open, topics []string
	for _, r := range s.rigs {
		id := r.Plant().ID
		sites = append(sites, id)
		for _, f := range s.findings(id) {
			if store.Severity(f.Severity) != store.Info {
				open, topics = append(open, name(id, f.Kind, f.Since)), append(topics, "firm/findings/"+id+"/"+f.Kind)
			}
		}
	}
	slices.Sort(topics)
	assert.Equal(t, slices.Compact(topics), s.state.open(), "the topic is what is open")
	for _, e := range s.engineers {
		of := sites
		if e.Sites != nil {
			of = e.Sites
		}
		s.checkTold(st, e.Name, open, of...)
	}
}
