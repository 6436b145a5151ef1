// Package render turns a composed note into what is read: HTML that stands alone,
// HTML that mail programs show, PDF and plain text. The same document gives the
// same bytes each time.
package render
