-- 'cold' as a number, so that another program's file is not mistaken for ours.
PRAGMA application_id = 0x636f6c64;

-- revision counts the appends that changed something of the site.
CREATE TABLE site (
  id       INTEGER PRIMARY KEY,
  name     TEXT NOT NULL UNIQUE,
  revision INTEGER NOT NULL DEFAULT 0
);

CREATE TABLE series (
  id      INTEGER PRIMARY KEY,
  site    INTEGER NOT NULL REFERENCES site,
  channel TEXT NOT NULL,
  UNIQUE (site, channel)
);

-- One row a reading, until its day is sealed; a row overrides the block of its
-- day. No foreign key: it would be looked up for every reading. The value has no
-- type, because a REAL column would lose the sign of a negative zero.
CREATE TABLE fresh (
  series  INTEGER NOT NULL,
  unix_ms INTEGER NOT NULL,
  value   NOT NULL,
  PRIMARY KEY (series, unix_ms)
) WITHOUT ROWID;

-- One row a series and UTC day (days since 1970-01-01).
CREATE TABLE block (
  series   INTEGER NOT NULL REFERENCES series,
  day      INTEGER NOT NULL,
  count    INTEGER NOT NULL,
  first_ms INTEGER NOT NULL,
  last_ms  INTEGER NOT NULL,
  data     BLOB NOT NULL,
  PRIMARY KEY (series, day)
);

-- The site's revision at the last change of each hour (since 1970-01-01): fine
-- enough that what comes in today leaves what was made of yesterday in force.
CREATE TABLE hour_revision (
  site     INTEGER NOT NULL REFERENCES site,
  hour     INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  PRIMARY KEY (site, hour)
) WITHOUT ROWID;

CREATE TABLE site_day (
  site       INTEGER NOT NULL REFERENCES site,
  date       TEXT NOT NULL,
  definition INTEGER NOT NULL,
  revision   INTEGER NOT NULL,
  fields     TEXT NOT NULL, -- JSON object of numbers
  detail     BLOB,
  PRIMARY KEY (site, date)
);

-- through is the bytes of this and all earlier refusals, so that what the newest
-- take is a difference.
CREATE TABLE refusal (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  arrived_ms INTEGER NOT NULL,
  reason     TEXT NOT NULL,
  through    INTEGER NOT NULL,
  site       TEXT NOT NULL,
  topic      TEXT NOT NULL,
  detail     TEXT NOT NULL,
  payload    BLOB
);
CREATE INDEX refusal_reason ON refusal (reason);
CREATE INDEX refusal_through ON refusal (through);

CREATE TABLE refusal_total (
  reason TEXT PRIMARY KEY,
  total  INTEGER NOT NULL
) WITHOUT ROWID;
