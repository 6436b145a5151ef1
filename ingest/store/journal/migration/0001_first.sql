-- 'cwjn' as a number, so that another file is not mistaken for a journal.
PRAGMA application_id = 0x63776a6e;

-- One row in all. The last three are those of the newest batch that was taken
-- from batch, so that they go on from there when nothing newer waits.
CREATE TABLE state (
  writer  TEXT NOT NULL,
  id      INTEGER NOT NULL,
  ordinal INTEGER NOT NULL,
  through INTEGER NOT NULL
);
INSERT INTO state (writer, id, ordinal, through) VALUES (lower(hex(randomblob(8))), 0, 0, 0);

-- What waits. ordinal and through count the batches and their readings up to
-- this one, so that how much waits is a difference. data comes last: a look at
-- the other columns does not read it.
CREATE TABLE batch (
  id          INTEGER PRIMARY KEY,
  ordinal     INTEGER NOT NULL,
  through     INTEGER NOT NULL,
  count       INTEGER NOT NULL,
  appended_ms INTEGER NOT NULL,
  sites       BLOB NOT NULL, -- each between line feeds
  data        BLOB NOT NULL
);

-- Damaged batches, as they were.
CREATE TABLE set_aside (
  id           INTEGER PRIMARY KEY,
  count        INTEGER,
  appended_ms  INTEGER,
  sites        BLOB,
  data         BLOB,
  set_aside_ms INTEGER NOT NULL
);
