package notify

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/url"
	"slices"
	"strings"
	text "text/template"
	"time"

	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/store"
)

//go:embed templates/letter.html templates/letter.txt
var templates embed.FS

// The two forms of a letter say the same.
var (
	letterHTML = template.Must(template.New("letter.html").Funcs(template.FuncMap{
		"flag": func(word string) bool { return strings.HasPrefix(word, "--") },
	}).ParseFS(templates, "templates/letter.html"))
	letterText = text.Must(text.New("letter.txt").Funcs(text.FuncMap{
		"line": oneLine, "upper": strings.ToUpper, "inc": func(i int) int { return i + 1 },
	}).ParseFS(templates, "templates/letter.txt"))
)

// oneLine keeps a text from making lines of its own.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

const (
	dayAndTime = "Mon 2 Jan, 15:04"
	// mostInFull is how many findings a letter describes; of the rest it says how
	// many there are at which site.
	mostInFull = 60
	// subjectRunes keeps a subject to what a phone shows of it.
	subjectRunes = 140
)

// sheet is what a letter says.
type sheet struct {
	Subject string
	Kicker  string // above the heading
	Heading string
	Tone    string // urgent, attention, ended
	Sites   []siteSheet
	More    []string // what is not described
	Muting  []command
	Foot    []string
}

// siteSheet is what a letter says of one site.
type siteSheet struct {
	Name  string // empty when the heading says it
	Link  string
	Open  []findingSheet
	Ended []endedSheet
}

// endedSheet is what a letter says of a finding that is over.
type endedSheet struct {
	Badge, Title, Period string
}

// findingSheet is what a letter says of one finding.
type findingSheet struct {
	Tone     string
	Badge    string // empty when the heading says it
	Title    string
	Period   string
	Evidence []string
	Causes   []string
	Next     []string
	First    string // of Next, where the rest is left out
	Caution  string
	Basis    string
	Commands []command
}

// letter words the message as e-mail.
func (t *telling) letter() (deliver.Letter, error) {
	s := t.sheet()
	var plain, rich bytes.Buffer
	if err := letterText.Execute(&plain, s); err != nil {
		return deliver.Letter{}, fmt.Errorf("word letter: %w", err)
	}
	if err := letterHTML.Execute(&rich, s); err != nil {
		return deliver.Letter{}, fmt.Errorf("word letter: %w", err)
	}
	l := deliver.Letter{
		ID: t.message.token, To: t.engineer.EMail, Date: t.message.created.In(t.engineer.Zone),
		Subject: s.Subject, Text: plain.String(), HTML: rich.String(), Urgent: t.message.urgent,
	}
	if findings := gathered(t.events); len(findings) == 1 {
		thread := sha256.Sum256([]byte(t.engineer.Name + "\n" + findings[0].finding()))
		l.Thread = hex.EncodeToString(thread[:16])
	}
	return l, nil
}

func (t *telling) sheet() sheet {
	if t.message.test {
		return t.testSheet()
	}
	findings := folded(gathered(t.events))
	s := sheet{Tone: "ended", Foot: []string{t.footer()}}
	if len(findings) == 1 && !t.message.digest {
		t.single(&s, findings[0])
	} else {
		t.many(&s, bySite(findings))
		s.Muting = t.anyMuting(findings)
	}
	s.Subject = shortened(s.Subject, subjectRunes)
	return s
}

// single is a letter about one finding.
func (t *telling) single(s *sheet, f *folding) {
	s.Tone, s.Kicker, s.Heading = f.tone(), f.badge(), f.place()
	s.Subject = f.badge() + ": " + f.place() + ": " + f.Title
	site := siteSheet{Link: t.link(f.Site)}
	if f.over() {
		site.Ended = []endedSheet{{Title: f.Title, Period: t.period(f)}}
	} else {
		site.Open = []findingSheet{t.describe(f)}
	}
	s.Sites = []siteSheet{site}
}

// many is a letter about several, the worst site first.
func (t *telling) many(s *sheet, sites []*siteGroup) {
	open, ended, described := 0, 0, 0
	for _, g := range sites {
		site := siteSheet{Name: g.name, Link: t.link(g.id)}
		left := 0
		for _, f := range g.findings {
			s.Tone = worseTone(s.Tone, f.tone())
			switch {
			case f.over():
				ended++
			default:
				open++
			}
			switch {
			case described == mostInFull:
				left++
				continue
			case f.over():
				site.Ended = append(site.Ended, endedSheet{f.badge(), f.Title, t.period(f)})
			default:
				site.Open = append(site.Open, t.mention(f))
			}
			described++
		}
		if left > 0 {
			s.More = append(s.More, fmt.Sprintf("%s: %d more", g.name, left))
		}
		if len(site.Open)+len(site.Ended) > 0 {
			s.Sites = append(s.Sites, site)
		}
	}
	where := sites[0].name
	if len(sites) > 1 {
		where = fmt.Sprintf("%d sites", len(sites))
	}
	counts := summary(open, ended)
	s.Kicker = "Digest of " + t.message.created.In(t.engineer.Zone).Format("Mon 2 January 2006")
	s.Subject = fmt.Sprintf("Digest: %s: %s", where, counts)
	if !t.message.digest {
		s.Kicker = "Told at once"
		s.Subject = fmt.Sprintf("%s: %s: %s", badges[s.Tone], where, counts)
	}
	if len(sites) == 1 && len(sites[0].findings) == 1 {
		s.Subject = "Digest: " + where + ": " + sites[0].findings[0].Title
	}
	s.Heading = upperFirst(counts) + ", at " + where
}

// summary counts findings in words.
func summary(open, ended int) string {
	var parts []string
	if open > 0 {
		parts = append(parts, plural(open, "open finding"))
	}
	if ended > 0 {
		parts = append(parts, fmt.Sprintf("%d ended", ended))
	}
	return strings.Join(parts, " and ")
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// describe words an open finding with all there is to say.
func (t *telling) describe(f *folding) findingSheet {
	return findingSheet{
		Tone: f.tone(), Title: f.Title, Period: t.period(f),
		Evidence: f.Evidence, Causes: f.Causes, Next: f.Next, Caution: f.Caution, Basis: f.Basis,
		Commands: t.commands(f),
	}
}

// mention words an open finding as a list has room for.
func (t *telling) mention(f *folding) findingSheet {
	s := findingSheet{
		Tone: f.tone(), Badge: f.badge(), Title: f.Title, Period: t.period(f),
		Evidence: f.Evidence[:min(2, len(f.Evidence))], Caution: f.Caution,
	}
	if len(f.Next) > 0 {
		s.First = f.Next[0]
	}
	if t.home != "" {
		s.Commands = []command{{"When somebody sees to it", t.acknowledging(f)}} // muting is in the foot
	}
	return s
}

// period says since when, or from when to when, and how often.
func (t *telling) period(f *folding) string {
	local := func(at time.Time) string { return at.In(t.engineer.Zone).Format(dayAndTime) }
	words := "since " + local(f.Since)
	switch {
	case f.withdrawn():
		words = "later readings show that there was nothing, " + local(f.Since)
	case f.over():
		words = "from " + local(f.Since) + " to " + local(f.Until)
	case slices.Contains(f.steps, Reopened):
		words += "; it was told as over, and is not"
	}
	if f.times > 1 {
		words += fmt.Sprintf("; %d times since %s", f.times, local(f.first))
	}
	return words
}

func (t *telling) link(site string) string {
	if t.pagesURL == "" {
		return ""
	}
	return strings.TrimSuffix(t.pagesURL, "/") + "/plants/" + url.PathEscape(site)
}

func (t *telling) footer() string {
	zone, _ := t.message.created.In(t.engineer.Zone).Zone()
	return fmt.Sprintf("Times are %s (%s). Sent to %s because coldweek.yaml says so, under notify.", t.engineer.Zone, zone, t.engineer.Name)
}

// folding is a finding of a letter; one that came several times is one line.
type folding struct {
	*told
	times int
	first time.Time // beginning of the first
}

// folded keeps the last finding of a site and kind, one that is open before one that
// is over, and how many there were.
func folded(findings []*told) []*folding {
	var list []*folding
	at := map[string]*folding{}
	for _, f := range findings {
		key := f.Site + "\n" + f.Kind
		if before := at[key]; before != nil {
			before.times++
			if f.Since.Before(before.first) {
				before.first = f.Since
			}
			if f.over() == before.over() && f.Since.After(before.Since) || before.over() && !f.over() {
				before.told = f
			}
			continue
		}
		at[key] = &folding{f, 1, f.Since}
		list = append(list, at[key])
	}
	return list
}

func (f *folding) tone() string {
	if f.over() {
		return "ended"
	}
	return string(f.Severity)
}

var badges = map[string]string{string(store.Urgent): "Urgent", string(store.Attention): "Attention", string(store.Info): "Note", "ended": "Ended"}

func (f *folding) badge() string {
	if f.tone() == string(store.Urgent) && slices.Contains(f.steps, Raised) {
		return "Now urgent"
	}
	if f.withdrawn() {
		return "Withdrawn"
	}
	return badges[f.tone()]
}

// rank orders findings, the worst first.
func (f *folding) rank() int { return rankOf(f.tone()) }

func rankOf(tone string) int {
	return slices.Index([]string{string(store.Urgent), string(store.Attention), string(store.Info), "ended"}, tone)
}

func worseTone(a, b string) string {
	if rankOf(b) < rankOf(a) {
		return b
	}
	return a
}

// siteGroup is the findings of one site.
type siteGroup struct {
	id, name string
	findings []*folding
}

// bySite groups findings: the site with the worst first, then that with the
// most open; within it the worst, then the longest.
func bySite(findings []*folding) []*siteGroup {
	var groups []*siteGroup
	at := map[string]*siteGroup{}
	for _, f := range findings {
		g := at[f.Site]
		if g == nil {
			g = &siteGroup{id: f.Site}
			at[f.Site] = g
			groups = append(groups, g)
		}
		g.name, g.findings = f.place(), append(g.findings, f)
	}
	for _, g := range groups {
		slices.SortStableFunc(g.findings, func(a, b *folding) int {
			return cmp.Or(a.rank()-b.rank(), a.Since.Compare(b.Since))
		})
	}
	slices.SortStableFunc(groups, func(a, b *siteGroup) int {
		return cmp.Or(a.findings[0].rank()-b.findings[0].rank(), b.open()-a.open(), strings.Compare(a.name, b.name))
	})
	return groups
}

func (g *siteGroup) open() int {
	n := 0
	for _, f := range g.findings {
		if !f.over() {
			n++
		}
	}
	return n
}

// shortened cuts a text at a word.
func shortened(s string, most int) string {
	runes := []rune(s)
	if len(runes) <= most {
		return s
	}
	cut := string(runes[:most])
	if i := strings.LastIndexByte(cut, ' '); i > most/2 {
		cut = cut[:i]
	}
	return cut + "…"
}
