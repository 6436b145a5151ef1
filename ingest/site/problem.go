package site

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong with a record, where it is and what would be
// right.
type Problem struct {
	File         string
	Line, Column int    // 1-based, in characters; 0 when the place is not known
	Field        string // path of the value, as in "heating_curve.points[1].flow_temp_c"
	Message      string
	Fix          string
	Warning      bool // the record is usable all the same
}

// String returns file:line:column: field: message; fix, without the parts that
// are empty.
func (p Problem) String() string {
	var b strings.Builder
	if p.File != "" {
		b.WriteString(p.File + ":")
	}
	if p.Line > 0 {
		fmt.Fprintf(&b, "%d:%d:", p.Line, p.Column)
	}
	if b.Len() > 0 {
		b.WriteByte(' ')
	}
	if p.Warning {
		b.WriteString("warning: ")
	}
	if p.Field != "" {
		b.WriteString(p.Field + ": ")
	}
	b.WriteString(p.Message)
	if p.Fix != "" {
		b.WriteString("; " + p.Fix)
	}
	return b.String()
}

// Problems is everything wrong with one or more records.
type Problems []Problem

// Error returns one line for each problem.
func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i, problem := range p {
		lines[i] = problem.String()
	}
	return strings.Join(lines, "\n")
}

// fatal says whether any of the problems is more than a warning.
func (p Problems) fatal() bool {
	return slices.ContainsFunc(p, func(problem Problem) bool { return !problem.Warning })
}

func (p Problems) sort() {
	slices.SortStableFunc(p, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
}
