package notify

import (
	"context"
	"database/sql"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/store/sqlitefile"
)

//go:embed migration/*.sql
var migrations embed.FS

const (
	logPages = 1000
	lockWait = 5 * time.Second
)

// outbox is the file in which everything rests.
type outbox struct{ db *sql.DB }

func openOutbox(ctx context.Context, path string) (*outbox, error) {
	kind := sqlitefile.Kind{ApplicationID: 0x63776f62, Migrations: migrations, LogPages: logPages}
	db, _, err := sqlitefile.OpenWriter(ctx, path, kind, lockWait)
	if err != nil {
		return nil, fmt.Errorf("open outbox %q: %w", path, err)
	}
	return &outbox{db}, nil
}

// write runs do in a transaction.
func (o *outbox) write(ctx context.Context, do func(tx *sql.Tx) error) error {
	tx, err := o.db.BeginTx(ctx, nil)
	if err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	defer func() { _ = tx.Rollback() }()
	if err := do(tx); err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	return sqlitefile.Explain(ctx, tx.Commit())
}

// querier is a transaction or the file itself.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// collect runs a query and reads each row of its answer.
func collect[T any](ctx context.Context, q querier, read func(scan func(...any) error) (T, error), query string, args ...any) (list []T, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, sqlitefile.Explain(ctx, err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		item, err := read(rows.Scan)
		if err != nil {
			return nil, err
		}
		list = append(list, item)
	}
	return list, sqlitefile.Explain(ctx, rows.Err())
}

// number reads the one number a query returns; its lack is not valid.
func number(ctx context.Context, tx *sql.Tx, query string, args ...any) (sql.NullInt64, error) {
	var n sql.NullInt64
	err := tx.QueryRowContext(ctx, query, args...).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return n, nil
	}
	return n, err
}

// addEvent keeps an event and returns its row, or false when it says nothing new.
// One that is open after it had ended has been reopened: later readings showed
// that it had not ended, or was there after all.
func addEvent(ctx context.Context, tx *sql.Tx, e *Event, now time.Time) (id int64, fresh bool, err error) {
	past, err := collect(ctx, tx, scanEvent, "SELECT body FROM event WHERE site = ? AND kind = ? AND since_ms = ? ORDER BY id", e.Site, e.Kind, e.Since.UnixMilli())
	if err != nil {
		return 0, false, err
	}
	if len(past) > 0 {
		last := &past[len(past)-1]
		e.Round = last.Round
		if ended := last.What == Ended; ended && e.What != Ended {
			e.What, e.Round = Reopened, max(last.Round, 1)+1
		} else if ended || e.What == Opened {
			return 0, false, nil
		}
	}
	body, err := json.Marshal(e)
	if err != nil {
		return 0, false, err
	}
	result, err := tx.ExecContext(ctx, `INSERT INTO event (site, kind, since_ms, step, at_ms, until_ms, put_ms, body)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
		e.Site, e.Kind, e.Since.UnixMilli(), e.step(), e.At.UnixMilli(), orNull(e.Until), now.UnixMilli(), body)
	if err != nil {
		return 0, false, err
	}
	added, err := result.RowsAffected()
	if err != nil || added == 0 {
		return 0, false, err
	}
	id, err = result.LastInsertId()
	return id, true, err
}

// orNull is a time in milliseconds, null when it is zero.
func orNull(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.UnixMilli(), Valid: !t.IsZero()}
}

// notice is what one engineer is to be told by one way.
type notice struct {
	event    int64
	engineer string
	way      Way
	digest   bool
	due      time.Time
	Event    Event
}

func addNotice(ctx context.Context, tx *sql.Tx, n notice) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO notice (event, engineer, way, digest, due_ms) VALUES (?, ?, ?, ?, ?)",
		n.event, n.engineer, n.way, n.digest, n.due.UnixMilli())
	return err
}

// waiting returns the notices that wait and are due by then, in the order of
// their events.
func (o *outbox) waiting(ctx context.Context, by time.Time) ([]notice, error) {
	return collect(ctx, o.db, func(scan func(...any) error) (notice, error) {
		var n notice
		var due int64
		var body []byte
		if err := scan(&n.event, &n.engineer, &n.way, &n.digest, &due, &body); err != nil {
			return n, err
		}
		n.due = time.UnixMilli(due)
		return n, json.Unmarshal(body, &n.Event)
	}, `SELECT event, engineer, way, digest, due_ms, body FROM notice JOIN event ON event.id = notice.event
		WHERE message IS NULL AND dropped IS NULL AND due_ms <= ? ORDER BY event, engineer, way`, by.UnixMilli())
}

// drop notes why something is not told.
func (n *notice) drop(ctx context.Context, tx *sql.Tx, why string) error {
	return n.set(ctx, tx, "dropped = ?", why)
}

// postpone lets a notice wait longer, or go into the digest of that time.
func (n *notice) postpone(ctx context.Context, tx *sql.Tx, digest bool, due time.Time) error {
	return n.set(ctx, tx, "digest = ?, due_ms = ?", digest, due.UnixMilli())
}

func (n *notice) set(ctx context.Context, tx *sql.Tx, columns string, values ...any) error {
	_, err := tx.ExecContext(ctx, "UPDATE notice SET "+columns+" WHERE event = ? AND engineer = ? AND way = ?",
		append(values, n.event, n.engineer, n.way)...)
	return err
}

// message is what goes out as one.
type message struct {
	id       int64
	token    string
	engineer string
	way      Way
	digest   bool
	urgent   bool
	test     bool // never in the outbox
	created  time.Time
	attempts int
	next     time.Time
	scope    string
	problem  string    // the last error
	givenUp  time.Time // zero when it was not
}

// addMessage keeps a message made of those notices.
func addMessage(ctx context.Context, tx *sql.Tx, m message, notices []notice) error {
	result, err := tx.ExecContext(ctx, `INSERT INTO message (token, engineer, way, digest, urgent, created_ms, next_ms)
		VALUES (?, ?, ?, ?, ?, ?, ?)`, m.token, m.engineer, m.way, m.digest, m.urgent, m.created.UnixMilli(), m.created.UnixMilli())
	if err != nil {
		return err
	}
	id, err := result.LastInsertId()
	for i := 0; i < len(notices) && err == nil; i++ {
		err = notices[i].set(ctx, tx, "message = ?", id)
	}
	return err
}

const unsent = "sent_ms IS NULL AND given_up_ms IS NULL"

// queues returns those that have a message to be tried by now.
func (o *outbox) queues(ctx context.Context, now time.Time) ([]queue, error) {
	return collect(ctx, o.db, func(scan func(...any) error) (q queue, err error) {
		return q, scan(&q.engineer, &q.way)
	}, "SELECT engineer, way FROM message WHERE "+unsent+" AND next_ms <= ? GROUP BY engineer, way ORDER BY min(id)", now.UnixMilli())
}

// unsent returns a queue's messages, oldest first.
func (o *outbox) unsent(ctx context.Context, q queue) ([]message, error) {
	return collect(ctx, o.db, scanMessage, messageColumns+"WHERE "+unsent+" AND engineer = ? AND way = ? ORDER BY id", q.engineer, q.way)
}

// unsettled returns every message that was not sent, given up or not.
func (o *outbox) unsettled(ctx context.Context) ([]message, error) {
	return collect(ctx, o.db, scanMessage, messageColumns+"WHERE sent_ms IS NULL ORDER BY id")
}

const messageColumns = `SELECT id, token, engineer, way, digest, urgent, created_ms, attempts, next_ms, scope, error, given_up_ms FROM message
	`

func scanMessage(scan func(...any) error) (message, error) {
	var m message
	var created, next int64
	var givenUp sql.NullInt64
	err := scan(&m.id, &m.token, &m.engineer, &m.way, &m.digest, &m.urgent, &created, &m.attempts, &next, &m.scope, &m.problem, &givenUp)
	m.created, m.next = time.UnixMilli(created), time.UnixMilli(next)
	if givenUp.Valid {
		m.givenUp = time.UnixMilli(givenUp.Int64)
	}
	return m, err
}

// events returns what a message tells, in the order it was put, as it is to who is
// told: one that is back opens to who was not told of it before, and is only worse
// to who was not told that it was over.
func (o *outbox) events(ctx context.Context, message int64) ([]Event, error) {
	return collect(ctx, o.db, func(scan func(...any) error) (e Event, err error) {
		var body []byte
		var heard sql.NullString
		if err = scan(&body, &heard); err != nil {
			return e, err
		}
		err = json.Unmarshal(body, &e)
		switch {
		case e.What == Raised && strings.HasPrefix(heard.String, string(Ended)):
			e.What = Reopened
		case e.What == Reopened && !heard.Valid:
			e.What = Opened
		case e.What == Reopened && !strings.HasPrefix(heard.String, string(Ended)):
			e.What = Raised
		}
		return e, err
	}, `SELECT now.body, (SELECT was.step FROM notice past JOIN event was ON was.id = past.event
			WHERE was.site = now.site AND was.kind = now.kind AND was.since_ms = now.since_ms AND was.id < now.id
			AND past.engineer = notice.engineer AND past.way = notice.way AND past.message <= notice.message
			ORDER BY was.id DESC LIMIT 1)
		FROM notice JOIN event now ON now.id = notice.event WHERE notice.message = ? ORDER BY now.id`, message)
}

// withStanding puts, where an event says that a finding is over, in its place what
// else of the kind is open at the site and on the engineer's topic: both have the
// same topic, which shows what is open.
func (o *outbox) withStanding(ctx context.Context, engineer string, events []Event) ([]Event, error) {
	events = slices.Clone(events)
	for i := range events {
		e := &events[i]
		if !e.over() {
			continue
		}
		open, err := collect(ctx, o.db, scanEvent, `SELECT body FROM event last JOIN notice ON notice.event = last.id
			WHERE site = ? AND kind = ? AND since_ms <> ? AND engineer = ? AND way = ? AND message IS NOT NULL
			AND NOT EXISTS (SELECT 1 FROM event WHERE site = last.site AND kind = last.kind AND since_ms = last.since_ms AND id > last.id AND step GLOB 'ended*')
			ORDER BY last.id DESC LIMIT 1`, e.Site, e.Kind, e.Since.UnixMilli(), engineer, MQTT)
		if err != nil {
			return nil, err
		}
		if len(open) > 0 {
			*e = open[0]
		}
	}
	return events, nil
}

func scanEvent(scan func(...any) error) (e Event, err error) {
	var body []byte
	if err = scan(&body); err != nil {
		return e, err
	}
	return e, json.Unmarshal(body, &e)
}

// set changes a message. It is not cancelled: what was sent must be noted.
func (o *outbox) set(ctx context.Context, message int64, columns string, values ...any) error {
	ctx = context.WithoutCancel(ctx)
	_, err := o.db.ExecContext(ctx, "UPDATE message SET "+columns+" WHERE id = ?", append(values, message)...)
	return sqlitefile.Classify(err)
}

// next returns the first time after now at which something is due.
func (o *outbox) next(ctx context.Context, now time.Time) (time.Time, bool, error) {
	var at sql.NullInt64
	err := o.db.QueryRowContext(ctx, `SELECT min(at_ms) FROM (
		SELECT min(due_ms) AS at_ms FROM notice WHERE message IS NULL AND dropped IS NULL AND due_ms > ?1
		UNION ALL SELECT min(next_ms) FROM message WHERE `+unsent+` AND next_ms > ?1)`, now.UnixMilli()).Scan(&at)
	return time.UnixMilli(at.Int64), at.Valid, sqlitefile.Explain(ctx, err)
}

// clamp makes due now what is due farther away than anything should be.
func (o *outbox) clamp(ctx context.Context, now time.Time, farthest time.Duration) error {
	limit := now.Add(farthest).UnixMilli()
	for _, query := range []string{
		"UPDATE notice SET due_ms = ? WHERE message IS NULL AND dropped IS NULL AND due_ms > ?",
		"UPDATE message SET next_ms = ?, scope = '' WHERE " + unsent + " AND next_ms > ?",
	} {
		if _, err := o.db.ExecContext(ctx, query, now.UnixMilli(), limit); err != nil {
			return sqlitefile.Explain(ctx, err)
		}
	}
	return nil
}

// retry makes due now what waits because nothing got through.
func (o *outbox) retry(ctx context.Context, now time.Time) error {
	_, err := o.db.ExecContext(ctx, "UPDATE message SET next_ms = ?1 WHERE "+unsent+" AND scope = ?2 AND next_ms > ?1",
		now.UnixMilli(), string(deliver.All))
	return sqlitefile.Explain(ctx, err)
}

// prune forgets what was settled before then. The events of a finding stay until
// it has ended, however long that takes, so that it is not told again.
func (o *outbox) prune(ctx context.Context, before time.Time) error {
	return o.write(ctx, func(tx *sql.Tx) error {
		for _, query := range []string{
			`CREATE TEMP TABLE old AS SELECT e.id FROM event e JOIN event last
				ON last.id = (SELECT max(id) FROM event WHERE site = e.site AND kind = e.kind AND since_ms = e.since_ms)
				WHERE last.until_ms < ?1 AND e.put_ms < ?1 AND last.put_ms < ?1
				AND NOT EXISTS (SELECT 1 FROM notice LEFT JOIN message ON message.id = notice.message
					WHERE event = e.id AND dropped IS NULL AND (message.id IS NULL OR coalesce(sent_ms, given_up_ms, ?1) >= ?1))`,
			`DELETE FROM notice WHERE event IN (SELECT id FROM old)`,
			`DELETE FROM event WHERE id IN (SELECT id FROM old)`,
			`DELETE FROM message WHERE coalesce(sent_ms, given_up_ms) < ?1 AND id NOT IN (SELECT message FROM notice WHERE message IS NOT NULL)`,
			`DROP TABLE old`,
		} {
			if _, err := tx.ExecContext(ctx, query, before.UnixMilli()); err != nil {
				return err
			}
		}
		return nil
	})
}
