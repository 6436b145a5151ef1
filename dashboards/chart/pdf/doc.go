// Package pdf draws charts on the pages of a PDF, as vectors and real text in
// embedded Liberation Sans.
//
// The document itself stays one of fpdf, so that a note sets its own text and
// tables; New makes one in which the charts' fonts are known and of which the
// same input gives the same bytes. Charts are light on white.
//
// fpdf writes no tags that a screen reader could follow: who needs them is
// offered the same note as a page.
package pdf
