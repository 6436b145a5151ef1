package local

import (
	"context"
	"database/sql"
	"strings"
)

// Statements that run for every message or block are prepared once.
const (
	putBlock = `INSERT INTO block (series, day, count, first_ms, last_ms, data) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET count = excluded.count, first_ms = excluded.first_ms, last_ms = excluded.last_ms, data = excluded.data`
	dropRows  = "DELETE FROM fresh WHERE site = ? AND unix_ms >= ? AND unix_ms < ?"
	raiseSite = "UPDATE site SET revision = revision + 1 WHERE id = ? RETURNING revision"
	raiseHour = `INSERT INTO hour_revision (site, hour, revision) VALUES (?, ?, ?)
		ON CONFLICT DO UPDATE SET revision = excluded.revision`
	dataVersion = "PRAGMA data_version"
)

// upsertSizes are the rows of an upsert, tried from the largest. Beyond 64 a
// statement gains nothing measurable.
var upsertSizes = [...]int{64, 8, 1}

const columnsPerRow = 3

// upsertRows is the statement for so many rows.
func upsertRows(n int) string {
	return "INSERT INTO fresh (site, unix_ms, readings) VALUES " + strings.TrimSuffix(strings.Repeat("(?,?,?),", n), ",") +
		" ON CONFLICT DO UPDATE SET readings = excluded.readings"
}

// prepare prepares the statements on the writer's connection.
func (s *Store) prepare(ctx context.Context) error {
	queries := []string{putBlock, dropRows, raiseSite, raiseHour, dataVersion}
	for _, n := range upsertSizes {
		queries = append(queries, upsertRows(n))
	}
	s.statements = make(map[string]*sql.Stmt, len(queries))
	for _, query := range queries {
		statement, err := s.write.PrepareContext(ctx, query)
		if err != nil {
			return err
		}
		s.statements[query] = statement
	}
	return nil
}

func (t *transaction) prepared(ctx context.Context, query string) *sql.Stmt {
	return t.StmtContext(ctx, t.store.statements[query])
}
