package login

import (
	"hash/maphash"
	"net/netip"
	"time"

	"golang.org/x/time/rate"
)

// How often one may try to log in: so many at once, then one each time. By name
// that is 2,880 guesses a day from the whole world; by address, offices with
// several people have room.
const (
	triesByName    = 10
	againByName    = 30 * time.Second
	triesByAddress = 20
	againByAddress = 10 * time.Second
)

// pace holds the tries of everybody in a fixed number of buckets, so that its
// memory is bounded, nobody's tries are forgotten for want of room, and a name
// that does not exist is treated as one that does. Two that share a bucket, one
// in some thousands, share their tries; which do cannot be known from outside.
type pace struct {
	seed    maphash.Seed
	buckets []*rate.Limiter
}

// paceBuckets is some 300 kB each.
const paceBuckets = 4096

func newPace(each time.Duration, burst int) *pace {
	p := &pace{seed: maphash.MakeSeed(), buckets: make([]*rate.Limiter, paceBuckets)}
	for i := range p.buckets {
		p.buckets[i] = rate.NewLimiter(rate.Every(each), burst)
	}
	return p
}

// try takes one try, or says how long to wait for the next.
func (p *pace) try(key string, now time.Time) (wait time.Duration) {
	bucket := p.buckets[maphash.String(p.seed, key)%paceBuckets]
	taken := bucket.ReserveN(now, 1)
	wait = taken.DelayFrom(now)
	if wait > 0 {
		taken.CancelAt(now)
	}
	return wait
}

// network is what one asker has of addresses: one of IPv4, a /64 of IPv6.
func network(address netip.Addr) string {
	address = address.Unmap().WithZone("")
	if address.Is6() {
		prefix, err := address.Prefix(64)
		if err == nil {
			return prefix.String()
		}
	}
	return address.String()
}
