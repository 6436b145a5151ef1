package grafana_test

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// board is a dashboard as its file has it.
type board struct {
	UID         string
	Title       string
	Templating  struct{ List []variable }
	Annotations struct {
		List []struct {
			Name   string
			Target target
		}
	}
	Panels []panel
}

type variable struct {
	Name, Query       string
	Datasource        datasource
	Multi, IncludeAll bool
	AllValue          string
}

type datasource struct{ UID string }

type panel struct {
	ID                                           int
	Type, Title, Description, Interval, TimeFrom string
	GridPos                                      struct{ X, Y, W, H int }
	Targets                                      []target
	Transformations                              []struct{ ID string }
	FieldConfig                                  struct {
		Defaults struct {
			Unit, NoValue string
			Custom        struct {
				SpanNulls json.RawMessage
				DrawStyle string
			}
		}
	}
}

// target is a query of either kind.
type target struct {
	RefID, Query, Expr, ResultFormat, Format, Alias string
	TextColumn                                      string
	Instant                                         bool
	Datasource                                      datasource
}

var boardFiles = []string{"fleet.json", "plant.json", "intake.json"}

// files returns the dashboards as Grafana reads them, by name.
func files(t *testing.T) map[string][]byte {
	t.Helper()
	read := map[string][]byte{}
	for _, name := range boardFiles {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		read[name] = text
	}
	return read
}

func boards(t *testing.T) []board {
	t.Helper()
	var all []board
	texts := files(t)
	for _, name := range boardFiles {
		var b board
		require.NoError(t, json.Unmarshal(texts[name], &b), name)
		all = append(all, b)
	}
	return all
}

// eachPanel visits what is no row.
func eachPanel(t *testing.T, visit func(b board, p panel)) {
	t.Helper()
	for _, b := range boards(t) {
		for _, p := range b.Panels {
			if p.Type != "row" {
				visit(b, p)
			}
		}
	}
}
