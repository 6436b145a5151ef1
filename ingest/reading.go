package ingest

import "time"

// MaxAhead is how far ahead of the clock a reading may be: beyond it the
// publisher's clock is wrong and the reading goes to quarantine.
const MaxAhead = 5 * time.Minute

// Reading is one value of one channel of one site.
type Reading struct {
	Site    string
	Channel Channel
	Time    time.Time // kept to the millisecond
	Value   float64   // in the channel's canonical unit, finite
}

// Reason says in one word why something was refused; it is a label value in
// metrics, so the set is closed.
type Reason string

// The reasons for quarantine.
const (
	UnknownTopic    Reason = "unknown_topic"
	UnknownSite     Reason = "unknown_site"
	UnknownChannel  Reason = "unknown_channel"
	BadPayload      Reason = "bad_payload"
	BadTime         Reason = "bad_time"
	FutureTime      Reason = "future_time"
	ImpossibleValue Reason = "impossible_value"
	TooLarge        Reason = "too_large"
	StoreRefused    Reason = "store_refused" // the database will never take it
)

// Reasons returns every reason.
func Reasons() []Reason {
	return []Reason{UnknownTopic, UnknownSite, UnknownChannel, BadPayload, BadTime, FutureTime, ImpossibleValue, TooLarge, StoreRefused}
}

// Rejected is a message, or one value of it, that could not become a reading.
type Rejected struct {
	Arrived time.Time
	Site    string // "" when the topic does not tell
	Topic   string // or the file and line it came from
	Reason  Reason
	Detail  string // what was wrong and what would be right
	Payload []byte // as received, cut to MaxRejectedPayload
}

// MaxRejectedPayload is how much of a refused payload is kept.
const MaxRejectedPayload = 4096

// CutPayload returns a copy of at most MaxRejectedPayload bytes.
func CutPayload(payload []byte) []byte {
	return append([]byte(nil), payload[:min(len(payload), MaxRejectedPayload)]...)
}
