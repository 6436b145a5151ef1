-- One row a finding; until_ms is null while it lasts.
CREATE TABLE finding (
  site     INTEGER NOT NULL REFERENCES site,
  kind     TEXT NOT NULL,
  since_ms INTEGER NOT NULL,
  until_ms INTEGER,
  severity TEXT NOT NULL,
  fields   TEXT NOT NULL, -- JSON object of numbers
  detail   BLOB,
  PRIMARY KEY (site, since_ms, kind)
);
