-- One row a site and time, until its day is sealed: what all channels of the
-- site had at that millisecond, as a plant's message brings it. It is written to
-- one page, where a row a reading was written to one page a channel. A row's
-- readings override the blocks of their day. What fresh_by_series holds is
-- carried over before this is committed.
ALTER TABLE fresh RENAME TO fresh_by_series;

CREATE TABLE fresh (
  site     INTEGER NOT NULL,
  unix_ms  INTEGER NOT NULL,
  readings BLOB NOT NULL, -- see message.go
  PRIMARY KEY (site, unix_ms)
) WITHOUT ROWID;
