package job

import (
	"time"

	"coldweek/analysis/watch"
)

const (
	// leastLag is more than readings take to arrive, mostLag more than a wrong time
	// zone makes: what is older was loaded, not published.
	leastLag, mostLag = 15 * time.Minute, 26 * time.Hour
	// Looks further apart than this cannot tell when a reading arrived; a lag that
	// moves by more than sameLag is no clock's but a backlog's.
	closeLooks, sameLag = 10 * time.Minute, 5 * time.Minute
)

// pace is how far the newest reading was behind when it arrived, as far as looks
// that follow closely can tell. On history there is nothing to tell.
type pace struct {
	look, newest time.Time
	arrived      time.Time // at the latest
	lag          time.Duration
	since        time.Time // the first reading that came with this lag
}

// see takes in a look and says whether readings arrive late.
func (p *pace) see(now, newest time.Time) *watch.Behind {
	if newest.After(p.newest) && !p.newest.IsZero() && now.Sub(p.look) <= closeLooks {
		lag := p.look.Sub(newest) // it arrived after that look
		if p.since.IsZero() || (lag-p.lag).Abs() > sameLag {
			p.lag, p.since = lag, newest
		}
		p.arrived = now
	}
	p.look, p.newest = now, newest
	if p.lag < leastLag || p.lag > mostLag || now.Sub(p.arrived) > closeLooks {
		return nil
	}
	return &watch.Behind{Lag: p.lag, Since: p.since}
}
