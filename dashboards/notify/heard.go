package notify

import (
	"context"
	"database/sql"
)

// ofFinding are the events of a notice's finding that its engineer has a notice of by
// its way, with the arguments that go before the others.
const ofFinding = ` FROM event JOIN notice ON notice.event = event.id
	WHERE site = ?1 AND kind = ?2 AND since_ms = ?3 AND engineer = ?4 AND way = ?5 AND dropped IS NULL `

func (n *notice) ofFinding(more ...any) []any {
	return append([]any{n.Event.Site, n.Event.Kind, n.Event.Since.UnixMilli(), n.engineer, n.way}, more...)
}

// told says whether the engineer was or will be told that the finding, which has
// ended, was there since it was told as over, and whether only in the digest.
func (n *notice) told(ctx context.Context, tx *sql.Tx) (told, inDigest bool, err error) {
	digest, err := number(ctx, tx, "SELECT min(digest)"+ofFinding+`AND id < ?6
		AND id > (SELECT coalesce(max(id), 0)`+ofFinding+"AND id < ?6 AND step GLOB 'ended*')", n.ofFinding(n.event)...)
	return digest.Valid, digest.Int64 != 0, err
}

// overtake drops what waits to be told of the finding: this, which comes later and
// is of it while it is there, says all.
func (n *notice) overtake(ctx context.Context, tx *sql.Tx) error {
	_, err := tx.ExecContext(ctx, `UPDATE notice SET dropped = 'something newer is told' WHERE engineer = ?4 AND way = ?5 AND message IS NULL AND dropped IS NULL
		AND event IN (SELECT id FROM event WHERE site = ?1 AND kind = ?2 AND since_ms = ?3 AND id < ?6)`, n.ofFinding(n.event)...)
	return err
}

// waits says whether the notice waits still: something newer may have overtaken it.
func (n *notice) waits(ctx context.Context, tx *sql.Tx) (bool, error) {
	waits, err := number(ctx, tx, "SELECT 1"+ofFinding+"AND id = ?6 AND message IS NULL", n.ofFinding(n.event)...)
	return waits.Valid, err
}

// news says whether the engineer is not in the picture yet: that a finding is back
// is nothing to who was not told that it had ended, unless it is worse now.
func (n *notice) news(ctx context.Context, tx *sql.Tx) (bool, error) {
	heard, err := collect(ctx, tx, scanEvent, "SELECT body"+ofFinding+"AND id < ?6 AND message IS NOT NULL ORDER BY id DESC LIMIT 1", n.ofFinding(n.event)...)
	if err != nil || len(heard) == 0 || heard[0].What == Ended {
		return true, err
	}
	return rankOfSeverity(n.Event.Severity) > rankOfSeverity(heard[0].Severity), nil
}
