package web

import (
	"context"
	"sync"
	"time"

	"coldweek/ingest/store"
)

// brieflyKept is a store that keeps the extents of sites for as long as a look is
// taken as now: a line of the list of plants needs them four times.
type brieflyKept struct {
	Store
	now  func() time.Time
	mu   sync.Mutex
	kept map[string]keptExtents // by site
}

type keptExtents struct {
	at      time.Time
	extents []store.Extent
}

func newBrieflyKept(o Options) *brieflyKept {
	return &brieflyKept{Store: o.Store, now: o.Now, kept: map[string]keptExtents{}}
}

// Extents returns the site's channels as they were some seconds ago at most.
func (b *brieflyKept) Extents(ctx context.Context, site string) ([]store.Extent, error) {
	now := b.now()
	b.mu.Lock()
	k, ok := b.kept[site]
	b.mu.Unlock()
	if ok && now.Sub(k.at).Abs() < lookLasts {
		return k.extents, nil
	}
	extents, err := b.Store.Extents(ctx, site)
	if err == nil {
		b.mu.Lock()
		b.kept[site] = keptExtents{now, extents}
		b.mu.Unlock()
	}
	return extents, err
}
