package journal

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"coldweek/ingest/store/sqlitefile"
)

// A row lists its sites with a mark before and after each. Marks in names are
// written otherwise, so that a name is found between marks just where it is
// listed.
const siteMark = "\n"

var (
	markSites   = strings.NewReplacer("\\", "\\\\", siteMark, "\\n")
	unmarkSites = strings.NewReplacer("\\\\", "\\", "\\n", siteMark)
)

func listSites(sites []string) []byte {
	var list strings.Builder
	list.WriteString(siteMark)
	for _, site := range sites {
		markSites.WriteString(&list, site)
		list.WriteString(siteMark)
	}
	return []byte(list.String())
}

// Sites returns the sites of which something waits, in alphabetical order.
func (j *Journal) Sites(ctx context.Context) ([]string, error) {
	sites := make(map[string]bool)
	rows, err := j.read.QueryContext(ctx, "SELECT DISTINCT sites FROM batch")
	if err == nil {
		defer rows.Close()
		for rows.Next() && err == nil {
			var list string
			err = rows.Scan(&list)
			for site := range strings.SplitSeq(strings.Trim(list, siteMark), siteMark) {
				sites[unmarkSites.Replace(site)] = true
			}
		}
		err = cmp.Or(err, rows.Err())
	}
	if err != nil {
		return nil, fmt.Errorf("list the sites of which something waits in the journal: %w", sqlitefile.Explain(ctx, err))
	}
	return slices.Sorted(maps.Keys(sites)), nil
}
