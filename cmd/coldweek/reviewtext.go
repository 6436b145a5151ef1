package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"coldweek/analysis/review"
)

// pageColumns is the width of a terminal.
const pageColumns = 80

// printReview writes the review for a terminal.
func printReview(out io.Writer, r *review.Review) error {
	var b bytes.Buffer
	name := r.Site
	if r.Name != "" && r.Name != r.Site {
		name = r.Name + " (" + r.Site + ")"
	}
	fmt.Fprintf(&b, "Cold week of %s\n", name)
	paragraph(&b, "", r.Period()+", "+r.Chosen+".")
	paragraph(&b, "", r.HowCold())
	fmt.Fprintf(&b, "\n%d points: %s.\n", len(r.Points), r.Score())
	for _, state := range []review.State{review.Look, review.NotKnown, review.Good} {
		printPoints(&b, r, state)
	}
	printNight(&b, r.Night)
	printOpen(&b, r)
	_, err := b.WriteTo(out)
	return err
}

// printPoints writes the points in one state.
func printPoints(b *bytes.Buffer, r *review.Review, state review.State) {
	begun := false
	for i := range r.Points {
		p := &r.Points[i]
		if p.State != state {
			continue
		}
		if !begun {
			begun = true
			fmt.Fprintf(b, "\n%s\n", strings.ToUpper(state.Words()))
		}
		printPoint(b, p)
	}
}

func printPoint(b *bytes.Buffer, p *review.Point) {
	fmt.Fprintf(b, "  %s\n", strings.TrimRight(fmt.Sprintf("%-28s%s", p.Name, p.Number()), " "))
	paragraph(b, "    ", p.Says)
	switch {
	case p.Limit.Basis == nil:
	case p.State == review.Good:
		paragraph(b, "    ", "Limit: "+p.Limit.Text+" ("+p.Limit.Basis.Words()+").")
	default:
		paragraph(b, "    ", "Limit: "+p.Limit.Text+" ("+p.Held()+").")
	}
	for i, next := range p.Next {
		numbered(b, "    ", i+1, next)
	}
	if p.Caution != "" {
		paragraph(b, "    ", "Caution: "+p.Caution)
	}
}

func printNight(b *bytes.Buffer, n *review.Night) {
	if n == nil {
		return
	}
	fmt.Fprintf(b, "\nTHE COLDEST NIGHT  %s to %s\n", n.From.Format("Mon 2 Jan 15:04"), n.To.Format("15:04"))
	var figures []string
	for _, f := range n.Figures() {
		figures = append(figures, lowerFirst(f.Name)+" "+f.Number)
	}
	paragraph(b, "  ", strings.Join(figures, ", ")+".")
	paragraph(b, "  ", n.Beyond())
}

func printOpen(b *bytes.Buffer, r *review.Review) {
	open := r.Open()
	if len(open) == 0 {
		fmt.Fprintln(b, "\nNo finding was open at the end of the days.")
		return
	}
	fmt.Fprintln(b, "\nOPEN FINDINGS")
	for _, f := range open {
		paragraph(b, "  ", fmt.Sprintf("%s: %s, since %s", f.Severity, f.Title, f.Since.In(r.From.Location()).Format("Mon 2 Jan 15:04")))
	}
}

func lowerFirst(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// paragraph writes words in lines of the terminal's width.
func paragraph(b *bytes.Buffer, indent, text string) { hanging(b, indent, indent, text) }

func numbered(b *bytes.Buffer, indent string, n int, text string) {
	hanging(b, fmt.Sprintf("%s%d. ", indent, n), indent+"   ", text)
}

// hanging indents the first line otherwise than the rest.
func hanging(b *bytes.Buffer, first, rest, text string) {
	line := first
	for i, word := range strings.Fields(text) {
		switch {
		case i == 0:
			line += word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > pageColumns:
			fmt.Fprintln(b, line)
			line = rest + word
		default:
			line += " " + word
		}
	}
	fmt.Fprintln(b, line)
}
