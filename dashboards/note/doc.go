// Package note composes the monthly performance note: what a homeowner gets each
// month, in plain language, with its doubts.
//
// Gather reads the facts of a month from stored site days and findings; Compose
// makes the document of them, in a language of package words, and is a pure
// function. Package render turns a document into HTML, PDF and plain text,
// archive keeps what was issued, dispatch sends it.
//
// Every figure in a document knows where it came from: a path into what
// `coldweek analyse --json` prints for this month ("this."), the one before
// ("last.") or that of a year ago ("year."), into `coldweek season --json` of this
// month against the one before ("season_last.") or a year ago ("season."), into
// the site record ("record.") or into what was issued before ("previous.").
//
// What a note does not do: promise, blame, or fill in what was not measured.
package note
