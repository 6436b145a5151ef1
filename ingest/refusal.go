package ingest

import (
	"errors"
	"fmt"
)

// RefusedError is why a value or a time cannot become part of a reading: the
// reason for the quarantine and, as its text, what was wrong and what would be
// right.
type RefusedError struct {
	Reason Reason
	Detail string
}

// Error returns the detail.
func (e *RefusedError) Error() string { return e.Detail }

// ReasonOf returns the reason an error carries, BadPayload when it carries none.
func ReasonOf(err error) Reason {
	if refused, ok := errors.AsType[*RefusedError](err); ok {
		return refused.Reason
	}
	return BadPayload
}

func refuse(reason Reason, format string, args ...any) *RefusedError {
	return &RefusedError{Reason: reason, Detail: fmt.Sprintf(format, args...)}
}

// maxQuoted bounds what of a foreign text an error repeats.
const maxQuoted = 64

// quoted returns a copy of s, cut short, for an error.
func quoted(s string) string {
	if len(s) > maxQuoted {
		return fmt.Sprintf("%q...", s[:maxQuoted])
	}
	return fmt.Sprintf("%q", s)
}
