package receive

import "time"

// pace learns how long senders take to come with the next message, as the mean
// of recent gaps. A gap counts from the last message; but for a message that
// comes promptly after an acknowledgement it counts from there, since its
// sender waited for us. So senders that wait make the mean small, whatever we
// take, and others give their own rate. All times are monotonic.
type pace struct {
	last     time.Time // message
	answered time.Time // acknowledgement
	mean     time.Duration
}

const (
	paceMemory   = 8 // messages that the mean is about
	pacePatience = 4 // times the mean without a message: no more will come soon
)

// arrive counts a message. What comes within prompt of an acknowledgement
// waited for it; a longer gap than limit counts as limit.
func (p *pace) arrive(now time.Time, prompt, limit time.Duration) {
	gap := now.Sub(p.last)
	if p.last.IsZero() {
		gap = 0
	}
	if waited := now.Sub(p.answered); waited <= prompt {
		gap = min(gap, waited)
	}
	p.mean += (min(gap, limit) - p.mean) / paceMemory
	p.last = now
}

// answer tells that all waiting senders were answered.
func (p *pace) answer(now time.Time) { p.answered = now }

// patience returns how long without a message means that waiting longer is
// of no use.
func (p *pace) patience() time.Duration { return pacePatience * p.mean }
