package watch_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/watch"
)

func TestAFigureLosesItsUnitInWords(t *testing.T) {
	for want, f := range map[string]watch.Figure{
		"minimum flow":    {Name: "minimum_flow_lph", Unit: "l/h"},
		"change per week": {Name: "change_pct_per_week", Unit: "%/week"},
		"starts":          {Name: "starts"},
		"offset k":        {Name: "offset_k"},
	} {
		assert.Equal(t, want, f.Words())
	}
}
