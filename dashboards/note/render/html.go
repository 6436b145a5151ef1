package render

import (
	"bytes"
	_ "embed" // the template
	"fmt"
	"html/template"

	"coldweek/dashboards/chart"
	"coldweek/dashboards/note"
	"coldweek/dashboards/note/words"
)

//go:embed note.html
var pageText string

var page = template.Must(template.New("note").Parse(pageText))

// Sizes of the charts on wide and on narrow screens.
var (
	wide   = chart.Size{Width: 600, Height: 190}
	narrow = chart.Size{Width: 350, Height: 220}
)

// styles are inline, since many mail programs drop style sheets.
type styles struct {
	Body, Sheet, Pad, Kicker, Title, Under, Lead, Tiles, Tile, Value, Label, Caption, Note, Table, Footer template.CSS
}

const face = "font-family:'Liberation Sans',Arial,Helvetica,sans-serif;"

func look() styles {
	ink, muted, grid := chart.Ink.Hex(), chart.Muted.Hex(), chart.Grid.Hex()
	css := func(format string, args ...any) template.CSS { return template.CSS(fmt.Sprintf(format, args...)) }
	return styles{
		Body:    css("margin:0;padding:0;background:#f3f1ec;color:%s;%sfont-size:15px;line-height:1.5", ink, face),
		Sheet:   css("max-width:680px;background:#ffffff;border-collapse:collapse;text-align:left"),
		Pad:     css("padding:30px 40px 26px"),
		Kicker:  css("font-size:13px;color:%s;letter-spacing:.02em", muted),
		Title:   css("margin:2px 0 6px;font-size:27px;line-height:1.2;font-weight:700"),
		Under:   css("font-size:13px;color:%s", muted),
		Lead:    css("margin:16px 0 14px;font-size:17px;line-height:1.5"),
		Tiles:   css("margin:0 0 8px;border-top:2px solid %s;border-bottom:1px solid %s;padding:10px 0 8px;font-size:0", ink, grid),
		Tile:    css("display:inline-block;vertical-align:top;width:20%%;min-width:106px;box-sizing:border-box;padding:4px 10px 4px 0"),
		Value:   css("font-size:20px;line-height:1.25;font-weight:700"),
		Label:   css("font-size:12px;line-height:1.35;color:%s", muted),
		Caption: css("font-size:13px"),
		Note:    css("font-size:13px;line-height:1.45;color:%s", muted),
		Table:   css("border-collapse:collapse;margin:6px 0 10px;font-size:13px;line-height:1.4"),
		Footer:  css("margin-top:18px;padding-top:8px;border-top:1px solid %s;font-size:12px;color:%s", grid, muted),
	}
}

// sheet is what of the style has no place inline: other sizes, and paper.
func sheet() template.CSS {
	return template.CSS(":root{color-scheme:light}\n" +
		".cw-chart{display:block;max-width:100%;height:auto}.cw-f-paper{fill:#fff}.cw-s-paper{stroke:#fff}.cw-narrow{display:none}\n" +
		"@media (max-width:640px){.pad{padding:22px 18px !important}.tile{width:33% !important}}\n" +
		"@media (max-width:480px){.cw-wide{display:none}.cw-narrow{display:block}}\n" +
		"@page{size:A4;margin:14mm 16mm}\n" +
		"@media print{body{background:#fff !important;font-size:9.4pt !important;line-height:1.36 !important}.pad{padding:0 !important}" +
		".sheet{max-width:none !important}.lead{font-size:11.5pt !important;line-height:1.36 !important;margin:10px 0 !important}" +
		".part{margin-top:11px !important}h2{break-after:avoid;font-size:11.5pt !important}.keep{break-inside:avoid}.small h2,.small p{font-size:7.6pt !important}" +
		".cw-chart{width:100%}.keep svg{max-height:46mm}}\n")
}

// HTML is a page that stands alone, charts and all.
func HTML(d *note.Document) ([]byte, error) { return html(d, false) }

// MailHTML is the note as mail programs show it: what the charts say is in words.
func MailHTML(d *note.Document) ([]byte, error) { return html(d, true) }

func html(d *note.Document, mail bool) ([]byte, error) {
	v := view{Doc: d, Mail: mail, Styles: look(), Sheet: sheet()}
	if mail {
		v.Sheet = ":root{color-scheme:light}"
	}
	for _, p := range d.Parts {
		v.Parts = append(v.Parts, v.part(p))
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return nil, fmt.Errorf("render note of %q: %w", d.Site, err)
	}
	return b.Bytes(), nil
}

type view struct {
	Doc    *note.Document
	Mail   bool
	Styles styles
	Sheet  template.CSS
	Parts  []partView
}

type partView struct {
	Class               string
	Heading             words.Text
	Frame, HeadingStyle template.CSS
	Blocks              []blockView
}

type blockView struct {
	Doc       *note.Document
	Mail      bool
	Styles    styles
	Text      words.Text
	Paragraph template.CSS
	Table     bool
	Head      []cell
	Rows      [][]cell
	Chart     *note.Chart
	Wide      template.HTML
	Narrow    template.HTML
	Item      *note.Item
	ItemStyle template.CSS
}

type cell struct {
	Text  words.Text
	Style template.CSS
}

func (v *view) part(p note.Part) partView {
	pv := partView{Heading: p.Heading, Frame: "margin:18px 0 0", HeadingStyle: "margin:0 0 4px;font-size:17px;line-height:1.3;font-weight:700"}
	paragraph := template.CSS("margin:0 0 8px")
	switch p.Look {
	case note.Framed:
		pv.Class = "keep"
		pv.Frame = "margin:18px 0 0;padding:12px 16px 6px;background:#f6f4ef;border-left:4px solid #8b9299"
	case note.Small:
		pv.Class = "small"
		pv.HeadingStyle = template.CSS("margin:0 0 3px;font-size:13px;font-weight:700;color:" + chart.Muted.Hex())
		paragraph = template.CSS("margin:0 0 4px;font-size:12px;line-height:1.45;color:" + chart.Muted.Hex())
	}
	for _, b := range p.Blocks {
		pv.Blocks = append(pv.Blocks, v.block(b, paragraph))
	}
	return pv
}

func (v *view) block(b note.Block, paragraph template.CSS) blockView {
	bv := blockView{Doc: v.Doc, Mail: v.Mail, Styles: v.Styles, Text: b.Text, Paragraph: paragraph, Chart: b.Chart, Item: b.Item}
	if b.Table != nil {
		bv.table(b.Table)
	}
	if b.Item != nil {
		bv.ItemStyle = template.CSS("margin:0 0 10px;padding-left:12px;border-left:3px solid " + itemRole(b.Item).Hex())
	}
	if b.Chart != nil && !v.Mail {
		bv.Wide, bv.Narrow = picture(b.Chart, wide, "wide"), picture(b.Chart, narrow, "narrow")
	}
	return bv
}

func itemRole(i *note.Item) chart.Role {
	if i.Urgent {
		return chart.Backup
	}
	return chart.Axis
}

// picture is safe as HTML since package chart escapes every string in it.
func picture(c *note.Chart, size chart.Size, suffix string) template.HTML {
	svg := chart.Picture(size, c.ID+"-"+suffix, c.Title.String(), c.Words.String(), c.Picture.Sized(size).Draw)
	return template.HTML(svg)
}

func (b *blockView) table(t *note.Table) {
	b.Table = true
	style := func(column int, head bool) template.CSS {
		css := "padding:4px 0 4px 10px;text-align:right;vertical-align:bottom;"
		if column == 0 || t.Words {
			css = "padding:4px 10px 4px 0;text-align:left;vertical-align:bottom;"
		}
		if head {
			return template.CSS(css + "font-weight:400;color:" + chart.Muted.Hex() + ";border-bottom:1px solid " + chart.Axis.Hex())
		}
		return template.CSS(css + "border-bottom:1px solid " + chart.Grid.Hex())
	}
	for i, h := range t.Head {
		b.Head = append(b.Head, cell{h, style(i, true)})
	}
	for _, row := range t.Rows {
		var cells []cell
		for i, text := range row {
			cells = append(cells, cell{text, style(i, false)})
		}
		b.Rows = append(b.Rows, cells)
	}
}
