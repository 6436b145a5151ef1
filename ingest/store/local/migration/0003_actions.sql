-- One row for each thing an engineer did; until_ms is null when it holds for good.
CREATE TABLE finding_action (
  site     INTEGER NOT NULL REFERENCES site,
  kind     TEXT NOT NULL,
  at_ms    INTEGER NOT NULL,
  deed     TEXT NOT NULL,
  person   TEXT NOT NULL,
  note     TEXT NOT NULL,
  until_ms INTEGER,
  PRIMARY KEY (site, at_ms, kind)
);
