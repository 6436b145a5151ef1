-- 'cwob' as a number, so that another file is not mistaken for an outbox.
PRAGMA application_id = 0x63776f62;

-- What happened to findings. step is what tells the events of one finding apart.
CREATE TABLE event (
  id       INTEGER PRIMARY KEY,
  site     TEXT NOT NULL,
  kind     TEXT NOT NULL,
  since_ms INTEGER NOT NULL,
  step     TEXT NOT NULL,
  at_ms    INTEGER NOT NULL,
  until_ms INTEGER, -- null while it lasts
  put_ms   INTEGER NOT NULL,
  body     BLOB NOT NULL, -- the event in JSON
  UNIQUE (site, kind, since_ms, step)
);

-- What goes out as one: one row for each way of each engineer.
CREATE TABLE message (
  id          INTEGER PRIMARY KEY,
  token       TEXT NOT NULL UNIQUE, -- its name to the outside
  engineer    TEXT NOT NULL,
  way         TEXT NOT NULL,
  digest      INTEGER NOT NULL,
  urgent      INTEGER NOT NULL,
  created_ms  INTEGER NOT NULL,
  attempts    INTEGER NOT NULL DEFAULT 0,
  next_ms     INTEGER NOT NULL, -- not tried before
  scope       TEXT NOT NULL DEFAULT '', -- of the last failure
  error       TEXT NOT NULL DEFAULT '', -- the last
  sent_ms     INTEGER,
  given_up_ms INTEGER
);
CREATE INDEX message_recent ON message (engineer, way, created_ms);
CREATE INDEX message_unsent ON message (engineer, way, id) WHERE sent_ms IS NULL AND given_up_ms IS NULL;

-- Who is to be told of an event, by which way: waiting until it is part of a
-- message, or until there turns out to be a reason not to tell.
CREATE TABLE notice (
  event    INTEGER NOT NULL REFERENCES event (id),
  engineer TEXT NOT NULL,
  way      TEXT NOT NULL,
  digest   INTEGER NOT NULL,
  due_ms   INTEGER NOT NULL,
  message  INTEGER REFERENCES message (id),
  dropped  TEXT,
  PRIMARY KEY (event, engineer, way)
) WITHOUT ROWID;
CREATE INDEX notice_waiting ON notice (due_ms) WHERE message IS NULL AND dropped IS NULL;
CREATE INDEX notice_message ON notice (message) WHERE message IS NOT NULL;
