package render

import (
	"strings"
	"unicode/utf8"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/words"
)

// columns is where lines of plain text are broken.
const columns = 76

// Plain is the note as plain text.
func Plain(d *note.Document) []byte {
	p := &plain{}
	p.wrap(d.House.String(), "")
	p.line(d.Title.String())
	p.line(strings.Repeat("=", utf8.RuneCountInString(d.Title.String())))
	p.wrap(words.Join(" ", d.Under...).String(), "")
	p.line("")
	p.wrap(d.Lead.String(), "")
	p.line("")
	for _, t := range d.Tiles {
		label := t.Label.String()
		if t.Under != nil {
			label += " (" + t.Under.String() + ")"
		}
		p.wrap(label+": "+t.Value.String(), "  ")
	}
	for _, part := range d.Parts {
		p.part(part)
	}
	p.line("")
	p.wrap(d.Footer.String(), "")
	return []byte(p.out.String())
}

type plain struct{ out strings.Builder }

func (p *plain) line(s string) {
	p.out.WriteString(strings.TrimRight(s, " ") + "\n")
}

// wrap breaks a text into lines; words that belong together stay so.
func (p *plain) wrap(text, indent string) {
	line := indent
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }) {
		if line != indent && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > columns {
			p.line(line)
			line = indent
		}
		if line != indent {
			line += " "
		}
		line += word
	}
	if line != indent {
		p.line(line)
	}
}

func (p *plain) part(part note.Part) {
	p.line("")
	heading := part.Heading.String()
	p.line(heading)
	p.line(strings.Repeat("-", utf8.RuneCountInString(heading)))
	for i, b := range part.Blocks {
		if i > 0 {
			p.line("")
		}
		switch {
		case b.Table != nil:
			p.table(b.Table)
		case b.Chart != nil:
			p.wrap(b.Chart.Words.String(), "")
		case b.Item != nil:
			p.wrap("* "+b.Item.Title.String()+" ("+b.Item.Period.String()+")", "")
			for _, l := range b.Item.Lines {
				p.wrap(l.String(), "  ")
			}
		default:
			p.wrap(b.Text.String(), "")
		}
	}
}

// table writes each row as a line of its own for each column, since the columns
// together are wider than a line.
func (p *plain) table(t *note.Table) {
	for _, row := range t.Rows {
		line := row[0].String() + ": "
		for i, cell := range row[1:] {
			if i > 0 {
				line += "; "
			}
			if len(row) > 2 {
				line += t.Head[i+1].String() + " "
			}
			line += cell.String()
		}
		p.wrap(line, "")
	}
}
