package journal

import (
	"context"
	"fmt"
	"maps"
	"slices"
)

// Path returns where the file is.
func (j *Journal) Path() string { return j.path }

// Sites returns the sites of which something waits, in alphabetical order. A
// damaged batch is a *DamagedError.
func (j *Journal) Sites(ctx context.Context) ([]string, error) {
	all := func(coded) bool { return true }
	rows, err := j.rows(ctx, all, "SELECT id, count, data FROM batch GROUP BY sites") // one for each combination
	if err != nil {
		return nil, fmt.Errorf("list the sites of which something waits in the journal: %w", err)
	}
	sites := make(map[string]bool)
	for _, row := range rows {
		batch, err := row.decode("")
		if err != nil {
			return nil, err
		}
		for _, r := range batch.Readings {
			sites[r.Site] = true
		}
	}
	return slices.Sorted(maps.Keys(sites)), nil
}
