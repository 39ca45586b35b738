-- Projections: for search only. They are written in the transaction that adds the entries, and
-- can be dropped and rebuilt from them with the same content, ids included.
--
-- One index of the kind that search machines use: a dictionary of terms, and for each term the
-- entries that it holds for. It costs a few bytes an entry, and nothing for an item in its limit.

CREATE TABLE terms (
  -- Counted up as terms first appear.
  id    INTEGER PRIMARY KEY,
  -- What kind of term, see `Field` in project.rs: 1 job concerned, 2 instrument of a frame,
  -- 3 instrument of a reading or verdict, 4 person, 5 outcome, 6 quantity out of its limit,
  -- 7 hash of a text in force, 8 number of the entry that a note or check is about, 9 kind,
  -- 10 sitting of manual readings.
  field INTEGER NOT NULL,
  value TEXT NOT NULL,
  -- The last entry that it holds for.
  last  INTEGER NOT NULL,
  UNIQUE (field, value)
) STRICT;

CREATE TABLE postings (
  term INTEGER NOT NULL,
  seq  INTEGER NOT NULL,
  PRIMARY KEY (term, seq)
) STRICT, WITHOUT ROWID;

-- The first and last entry of each day (UTC). Days overlap only where the clock was set back.
CREATE TABLE days (
  day   TEXT PRIMARY KEY,
  first INTEGER NOT NULL,
  last  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- For auditors, stable: which entries concern which job. A reading that a note assigned to
-- another job concerns both.
CREATE VIEW job_entries AS SELECT terms.value AS job, postings.seq AS seq
FROM terms JOIN postings ON postings.term = terms.id WHERE terms.field = 1;
