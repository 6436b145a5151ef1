package notify

import (
	"regexp"
	"slices"
	"strings"

	"coldweek/ingest/store"
)

// command is what an engineer can type where coldweek runs.
type command struct {
	Purpose string
	Words   []string // as a shell takes them
}

func (c command) Line() string { return strings.Join(c.Words, " ") }

// commands are what can be done about a finding, none when it is not known where
// the deployment is.
func (t *telling) commands(f *folding) []command {
	if t.home == "" {
		return nil
	}
	purpose := "To say that somebody sees to it; nobody is told of it again"
	if f.Severity != store.Urgent {
		purpose += ", unless it becomes urgent"
	}
	return []command{{purpose, t.acknowledging(f)}, {"To hear nothing of this kind from this site for a while", t.muting(f)}}
}

func (t *telling) acknowledging(f *folding) []string {
	return commandLine("ack", f.Site, f.Kind, "--home", t.home)
}

func (t *telling) muting(f *folding) []string {
	return commandLine("mute", f.Site, f.Kind, "--for", "14d", "--home", t.home)
}

// anyMuting says once, below many open findings, how to hear nothing of one.
func (t *telling) anyMuting(findings []*folding) []command {
	k := slices.IndexFunc(findings, func(f *folding) bool { return !f.over() })
	if k < 0 || t.home == "" {
		return nil
	}
	return []command{{"To hear nothing of a kind from a site for a while, for example", t.muting(findings[k])}}
}

var plainWord = regexp.MustCompile(`^[\w./:@%+=,-]+$`)

// commandLine is a command word by word, as a shell takes it.
func commandLine(words ...string) []string {
	line := []string{"coldweek"}
	for _, w := range words {
		if !plainWord.MatchString(w) {
			w = "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
		}
		line = append(line, w)
	}
	return line
}
