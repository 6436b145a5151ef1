package local

import (
	"context"
	"database/sql"
	"embed"

	"coldweek/ingest/store/sqlitefile"
)

// Why a store cannot be opened or written.
var (
	ErrNewer   = sqlitefile.ErrNewer
	ErrForeign = sqlitefile.ErrForeign
	ErrLocked  = sqlitefile.ErrLocked
	ErrFull    = sqlitefile.ErrFull
	ErrDamaged = sqlitefile.ErrDamaged
)

//go:embed migration/*.sql
var migrations embed.FS

var kind = sqlitefile.Kind{
	ApplicationID: 0x636f6c64, // as in migration/0001
	Migrations:    migrations,
	LogPages:      4000,
	After:         map[string]func(context.Context, *sql.Tx) error{"0004_messages.sql": carryOver},
}
