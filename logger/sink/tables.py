"""The tables, the same in SQLite and PostgreSQL. Read them with any tool; only the sink writes them."""

from __future__ import annotations

VERSION = 1
RECORD_COLUMNS = (
    "run_id", "revision", "review", "simulated", "sample_id", "lot", "point", "sampled_at", "tested_at",
    "method_id", "method_revision", "aperture_um", "outcome", "reason", "charge_g", "residue_g", "residue_pct",
    "raw_residue_pct", "passing_pct", "expanded_u_pct", "decision", "residue_max_pct", "residue_min_pct",
    "deviations", "record_sha256",
)  # fmt: skip
"""Fields of `latest` that are columns; one that a later version adds stays in `body` alone."""

TABLES = """
CREATE TABLE sink (
  version BIGINT NOT NULL
);
-- Where each bench stands. said_seq, waiting, set_aside_there: from its newest status.
CREATE TABLE bench (
  site TEXT NOT NULL,
  bench TEXT NOT NULL,
  last_seq BIGINT NOT NULL DEFAULT 0,
  duplicates BIGINT NOT NULL DEFAULT 0,
  out_of_order BIGINT NOT NULL DEFAULT 0,
  state TEXT,
  cause TEXT,
  since TIMESTAMPTZ,
  said_seq BIGINT NOT NULL DEFAULT 0,
  waiting BIGINT NOT NULL DEFAULT 0,
  set_aside_there BIGINT NOT NULL DEFAULT 0,
  insecure BOOLEAN,
  status_at TIMESTAMPTZ,
  PRIMARY KEY (site, bench)
);
-- Numbers that have not come although later ones have.
CREATE TABLE gap (
  site TEXT NOT NULL,
  bench TEXT NOT NULL,
  first_seq BIGINT NOT NULL,
  last_seq BIGINT NOT NULL,
  PRIMARY KEY (site, bench, first_seq)
);
-- Every numbered message that was kept, once.
CREATE TABLE message (
  site TEXT NOT NULL,
  bench TEXT NOT NULL,
  seq BIGINT NOT NULL,
  message_id TEXT NOT NULL,
  kind TEXT NOT NULL,
  run_id TEXT,
  created_at TIMESTAMPTZ NOT NULL,
  published_at TIMESTAMPTZ NOT NULL,
  historical BOOLEAN NOT NULL,
  received_at TIMESTAMPTZ NOT NULL,
  PRIMARY KEY (site, bench, seq)
);
CREATE TABLE record (
  site TEXT NOT NULL,
  bench TEXT NOT NULL,
  run_id TEXT NOT NULL,
  revision BIGINT NOT NULL,
  seq BIGINT NOT NULL,
  review TEXT NOT NULL,
  simulated BOOLEAN,
  sample_id TEXT,
  lot TEXT,
  point TEXT,
  sampled_at TEXT,
  tested_at TEXT,
  method_id TEXT,
  method_revision BIGINT,
  aperture_um DOUBLE PRECISION,
  outcome TEXT NOT NULL,
  reason TEXT,
  charge_g DOUBLE PRECISION,
  residue_g DOUBLE PRECISION,
  residue_pct DOUBLE PRECISION,
  raw_residue_pct DOUBLE PRECISION,
  passing_pct DOUBLE PRECISION,
  expanded_u_pct DOUBLE PRECISION,
  decision TEXT,
  residue_max_pct DOUBLE PRECISION,
  residue_min_pct DOUBLE PRECISION,
  deviations BIGINT NOT NULL,
  record_sha256 TEXT,
  body TEXT NOT NULL,
  PRIMARY KEY (site, bench, run_id, revision)
);
CREATE INDEX record_sample ON record (sample_id);
CREATE INDEX record_tested ON record (tested_at);
CREATE TABLE event (
  site TEXT NOT NULL,
  bench TEXT NOT NULL,
  seq BIGINT NOT NULL,
  run_id TEXT,
  kind TEXT NOT NULL,
  utc TIMESTAMPTZ NOT NULL,
  level TEXT NOT NULL,
  text TEXT NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (site, bench, seq)
);
CREATE INDEX event_run ON event (run_id);
-- A row is one balance reading with the pressure beside it; `place` is its place in the message `seq`.
CREATE TABLE reading (
  site TEXT NOT NULL,
  bench TEXT NOT NULL,
  seq BIGINT NOT NULL,
  place BIGINT NOT NULL,
  run_id TEXT NOT NULL,
  t_s DOUBLE PRECISION NOT NULL,
  mass_g DOUBLE PRECISION,
  dp_pa DOUBLE PRECISION,
  stable BOOLEAN,
  PRIMARY KEY (site, bench, seq, place)
);
CREATE INDEX reading_run ON reading (run_id, t_s);
-- What came and could not be kept as what it claimed to be. `id` is the SHA-256 of topic and payload.
CREATE TABLE set_aside (
  id TEXT PRIMARY KEY,
  received_at TIMESTAMPTZ NOT NULL,
  topic TEXT NOT NULL,
  fault TEXT NOT NULL,
  reason TEXT NOT NULL,
  payload BLOB NOT NULL
);
-- The newest revision of each run.
CREATE VIEW newest_record AS
  SELECT * FROM record AS r WHERE NOT EXISTS (
    SELECT 1 FROM record AS later
    WHERE later.site = r.site AND later.bench = r.bench AND later.run_id = r.run_id
      AND later.revision > r.revision);
"""


def statements(dialect: str) -> list[str]:
    """The tables in the words of `sqlite` or `postgresql`."""
    text = "\n".join(line for line in TABLES.splitlines() if not line.startswith("--"))
    ours, theirs = ("TIMESTAMPTZ", "TEXT") if dialect == "sqlite" else ("BLOB", "BYTEA")
    text = text.replace(ours, theirs)
    return [statement.strip() for statement in text.split(";") if statement.strip()]
