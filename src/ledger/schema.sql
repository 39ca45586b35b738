-- A ledger of fociline, format 1: an SQLite file.
--
-- application_id 0x466f6331 ("Foc1"), user_version 1.
-- Everything in this file but `entries` can be derived from `entries`.

-- The truth. Rows are only ever added; triggers refuse everything else.
CREATE TABLE entries (
  -- 1 is the first; there are no gaps.
  seq     INTEGER PRIMARY KEY,
  -- When it happened: RFC 3339, UTC, microseconds: 2026-03-02T07:04:05.000000Z
  time    TEXT NOT NULL,
  -- frame, reading, order, verdict, job, note, port, clock, in-force, software, checkpoint, manual,
  -- cross-check, reference-lens, instrument-check, drift, ...
  kind    TEXT NOT NULL,
  -- What is recorded: JSON text, exactly as it was hashed.
  payload TEXT NOT NULL,
  -- The hash of the entry before; 32 zero bytes for the first.
  prev    BLOB NOT NULL CHECK (length(prev) = 32),
  -- SHA-256 of these bytes, one after the other:
  --   prev (32 bytes), seq in decimal, LF, time, LF, kind, LF, payload (all UTF-8)
  hash    BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;

CREATE TRIGGER entries_are_not_changed BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries of the ledger are never changed: add a note instead'); END;

CREATE TRIGGER entries_are_not_deleted BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries of the ledger are never deleted: add a note instead'); END;

-- Also what refuses REPLACE, which deletes without asking the trigger above.
CREATE TRIGGER entries_are_added_at_the_end BEFORE INSERT ON entries
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entries)
BEGIN SELECT RAISE(ABORT, 'entries of the ledger are added at its end, without gaps'); END;

-- ---------------------------------------------------------------------------------------------
-- Views for auditors. Names, columns and their order are stable: columns are only ever added, at
-- the end. Any SQLite client from 3.38 on can read them. Numbers are given as numbers; the digits
-- as they were sent are in the payload. Every view begins with
--   seq   the entry's number
--   time  the entry's time
-- A view reads all entries of its kind; on a large ledger narrow it down with `job_entries`:
--   SELECT * FROM verdicts WHERE seq IN (SELECT seq FROM job_entries WHERE job = '4471');

-- What came in on an instrument's port, parsed or not.
CREATE VIEW frames AS SELECT
  seq, time,
  payload ->> '$.instrument' AS instrument, -- the instrument's name in the settings
  payload ->> '$.bytes'      AS bytes,      -- every byte, in the notation that layouts use
  payload ->> '$.ended'      AS ended,      -- how the frame ended
  payload ->> '$.layout'     AS layout,     -- hash of the layout, see `in-force` in events
  payload ->> '$.reject'     AS reject      -- why it gave no reading: JSON; NULL if it did
FROM entries WHERE kind = 'frame';

-- What was measured: one row for each lens in a reading, and one with a NULL eye for a reading
-- that holds no lens at all. In normal form: minus-cylinder, axis above 0 and up to 180.
CREATE VIEW readings AS SELECT
  e.seq, e.time,
  e.payload ->> '$.frame'                        AS frame,            -- seq of its frame
  e.payload ->> '$.instrument'                   AS instrument,       -- name in the settings
  e.payload ->> '$.job'                          AS job,              -- when it came in; notes may assign it since
  e.payload ->> '$.job_from'                     AS job_from,         -- frame, station, nobody
  lens.key                                       AS eye,              -- right, left, unspecified
  lens.value ->> '$.sphere'                      AS sphere,           -- D
  lens.value ->> '$.cylinder'                    AS cylinder,         -- D
  lens.value ->> '$.axis'                        AS axis,             -- degrees
  lens.value ->> '$.addition'                    AS addition,         -- D
  lens.value ->> '$.second_addition'             AS second_addition,  -- D
  lens.value ->> '$.prism'                       AS prism,            -- JSON list of parts: amount in prism dioptres, base
  lens.value ->> '$.pd'                          AS pd,               -- mm, monocular
  lens.value ->> '$.near_pd'                     AS near_pd,          -- mm, monocular
  lens.value ->> '$.segment_height'              AS segment_height,   -- mm
  lens.value ->> '$.reference_height'            AS reference_height, -- mm
  lens.value ->> '$.transmittance'               AS transmittance,    -- percent
  lens.value ->> '$.mode'                        AS mode,             -- distance, near, progressive
  lens.value ->> '$.vertex'                      AS vertex,           -- back, front
  coalesce(lens.value ->> '$.as_sent.sphere',   lens.value ->> '$.sphere')   AS sent_sphere,   -- D, as the instrument sent it
  CASE WHEN lens.value -> '$.as_sent' IS NULL THEN lens.value ->> '$.cylinder'
       ELSE lens.value ->> '$.as_sent.cylinder' END                          AS sent_cylinder, -- D, of either sign
  CASE WHEN lens.value -> '$.as_sent' IS NULL THEN lens.value ->> '$.axis'
       ELSE lens.value ->> '$.as_sent.axis' END                              AS sent_axis,     -- degrees
  e.payload ->> '$.reading.operator'             AS operator,         -- who the instrument says measured
  e.payload ->> '$.reading.serial'               AS serial,           -- the instrument's serial number
  e.payload ->> '$.reading.instrument_time'      AS instrument_time,  -- the instrument's own clock, as sent
  e.payload ->> '$.reading.reference_line'       AS reference_line,   -- d, e
  e.payload ->> '$.reading.faults'               AS faults,           -- JSON list of fault codes
  coalesce(e.payload ->> '$.reading.checksum_verified', 0) AS checksum_verified -- 1: a checksum was there and right
FROM entries e
LEFT JOIN json_each(e.payload, '$.reading') lens ON lens.key IN ('right', 'left', 'unspecified')
WHERE e.kind = 'reading';

-- What was ordered: one row for each lens of each revision, and one with a NULL eye for an order
-- without any lens.
CREATE VIEW orders AS SELECT
  e.seq, e.time,
  e.payload ->> '$.order.job'         AS job,
  e.payload ->> '$.revision'          AS revision,         -- 1 for the first
  e.payload ->> '$.source'            AS source,           -- a file and line, or a person
  e.payload ->> '$.dropped'           AS dropped,          -- JSON list of the fields left out at intake
  e.payload ->> '$.order.lens'        AS lens,             -- single-vision, multifocal, progressive
  e.payload ->> '$.order.mounted'     AS mounted,          -- 1: a mounted pair; 0: uncut
  lens.key                            AS eye,              -- right, left
  lens.value ->> '$.sphere'           AS sphere,           -- D, as ordered
  lens.value ->> '$.cylinder'         AS cylinder,         -- D, of either sign
  lens.value ->> '$.axis'             AS axis,             -- degrees
  lens.value ->> '$.addition'         AS addition,         -- D
  lens.value ->> '$.second_addition'  AS second_addition,  -- D
  lens.value ->> '$.prism'            AS prism,            -- JSON list of parts
  lens.value ->> '$.pd'               AS pd,               -- mm, monocular
  lens.value ->> '$.near_pd'          AS near_pd,          -- mm, monocular
  lens.value ->> '$.segment_height'   AS segment_height,   -- mm
  lens.value ->> '$.reference_height' AS reference_height  -- mm
FROM entries e
LEFT JOIN json_each(e.payload, '$.order') lens ON lens.key IN ('right', 'left')
WHERE e.kind = 'order';

-- Each job judged, each time it was.
CREATE VIEW verdicts AS SELECT
  seq, time,
  payload ->> '$.job'                 AS job,
  payload ->> '$.rules'               AS rules,         -- the rule set's name
  payload ->> '$.outcome'             AS outcome,       -- pass, fail, borderline, incomplete
  json_array_length(payload, '$.items') AS items,       -- how many quantities were looked at
  (SELECT count(*) FROM json_each(payload, '$.items') item
    WHERE item.value ->> '$.outcome' = 'fail') AS failed, -- how many were beyond their limit
  payload ->> '$.decision'            AS decision,      -- the decision rule, in words
  payload ->> '$.basis.order'         AS order_entry,   -- seq of the order judged against
  payload ->> '$.basis.readings'      AS reading_entries, -- JSON list: seqs of the readings used
  payload ->> '$.basis.rules'         AS rules_hash,    -- see `in-force` in events
  payload ->> '$.basis.software'      AS software,      -- version that judged
  payload ->> '$.notes'               AS notes,         -- JSON list
  payload ->> '$.held'                AS held,          -- why it was held back; NULL if it was not
  payload ->> '$.basis.checks'        AS check_entries  -- JSON list: seqs of the instrument checks in force
FROM entries WHERE kind = 'verdict';

-- Each quantity of each verdict.
CREATE VIEW verdict_items AS SELECT
  e.seq, e.time,
  item.key                       AS item,        -- its place in the verdict, from 0
  e.payload ->> '$.job'          AS job,
  item.value ->> '$.eye'         AS eye,         -- right, left, pair
  item.value ->> '$.quantity'    AS quantity,
  item.value ->> '$.ordered'     AS ordered,     -- in unit
  item.value ->> '$.measured'    AS measured,    -- in unit
  item.value ->> '$.deviation'   AS deviation,   -- in unit: measured less ordered
  item.value ->> '$.limit'       AS limit_value, -- in unit: the greatest magnitude that passes
  item.value ->> '$.unit'        AS unit,        -- D, deg, prism-D, mm
  item.value ->> '$.outcome'     AS outcome,     -- pass, fail, borderline, not-measured, not-judged
  item.value ->> '$.clause'      AS clause,      -- the clause applied
  item.value ->> '$.notes'       AS notes        -- JSON list
FROM entries e JOIN json_each(e.payload, '$.items') item
WHERE e.kind = 'verdict';

-- Manual readings compared with an instrument's. Practice is never among them. A manual reading that was
-- voided since does not count, and stays here: leave it out with
--   WHERE manual_entry NOT IN (SELECT subject FROM events WHERE kind = 'note' AND what = 'void')
CREATE VIEW crosschecks AS SELECT
  seq, time,
  payload ->> '$.job'                        AS job,
  payload ->> '$.eye'                        AS eye,
  payload ->> '$.by'                         AS person,         -- who read by hand
  payload ->> '$.instrument'                 AS instrument,     -- compared with
  payload ->> '$.manual'                     AS manual_entry,   -- seq of the manual reading
  payload ->> '$.reading'                    AS reading_entry,  -- seq of the instrument's, the latest where there are several
  payload ->> '$.difference.distance'        AS distance,       -- D: length of the difference of the power vectors
  payload ->> '$.difference.axis'            AS axis_deviation, -- degrees, on a half circle
  payload ->> '$.outcome' = 'agree'          AS agrees,         -- 1: within the closer of the cross-check's limits
  payload ->> '$.reasons'                    AS reason,         -- JSON list: how the outcome was reached
  payload ->> '$.outcome'                    AS outcome,        -- agree, within-tolerance, beyond-tolerance, different-lens, not-comparable
  payload ->> '$.suspect'                    AS suspect,        -- what most likely happened: eyes-swapped, sphere-sign, ...
  payload ->> '$.difference.meridian'        AS meridian,       -- D: the largest difference in any meridian
  payload ->> '$.difference.axis_weighted'   AS axis_weighted,  -- D: the axis difference weighted by the cylinders
  payload ->> '$.difference.m'               AS m,              -- D: manual less instrument, mean sphere
  payload ->> '$.difference.j0'              AS j0,             -- D
  payload ->> '$.difference.j45'             AS j45,            -- D
  payload ->> '$.difference.addition'        AS addition,       -- D
  payload ->> '$.difference.prism'           AS prism,          -- prism dioptres: length of the difference
  payload ->> '$.limits'                     AS limits_hash     -- see `in-force` in events
FROM entries WHERE kind = 'cross-check';

-- Instruments checked against reference lenses: one row for each quantity of each check.
CREATE VIEW instrument_checks AS SELECT
  e.seq, e.time,
  e.payload ->> '$.instrument'   AS instrument,
  e.payload ->> '$.by'           AS person,
  e.payload ->> '$.lens'         AS lens,           -- the reference lens's name
  e.payload ->> '$.reading'      AS reading_entry,  -- seq of the reading taken of it
  item.value ->> '$.quantity'    AS quantity,
  item.value ->> '$.expected'    AS expected,       -- in unit
  item.value ->> '$.measured'    AS measured,       -- in unit
  item.value ->> '$.deviation'   AS deviation,      -- in unit: measured less expected
  item.value ->> '$.limit'       AS limit_value,    -- in unit
  item.value ->> '$.unit'        AS unit,
  item.value ->> '$.outcome'     AS outcome,        -- of this quantity: pass, fail, not-measured, not-judged
  e.payload ->> '$.outcome'      AS check_outcome,  -- of the whole check: good, bad, incomplete, lens-overdue
  e.payload ->> '$.lens_entry'   AS lens_entry,     -- seq of the register's entry with the certified values
  e.payload ->> '$.limits'       AS limits_hash     -- see `in-force` in events
FROM entries e JOIN json_each(e.payload, '$.items') item
WHERE e.kind = 'instrument-check';

-- Everything else that happened: jobs chosen, notes, ports, clock, texts in force, software,
-- checkpoints, manual readings, reference lenses, drift, and kinds that later versions add.
CREATE VIEW events AS SELECT
  seq, time, kind,
  -- the port's, text's or scanner's name; the entry a note is about; the version that ran
  coalesce(payload ->> '$.name', payload ->> '$.about', payload ->> '$.version') AS subject,
  -- opened, lost, started, void, assign, settings, layout, ...; seconds of a clock step
  coalesce(payload ->> '$.state', payload ->> '$.says', payload ->> '$.what',
           payload ->> '$.step_seconds')                                   AS what,
  payload ->> '$.job'                                                      AS job,
  payload ->> '$.by'                                                       AS person, -- or a scanner
  coalesce(payload ->> '$.reason', payload ->> '$.why', payload ->> '$.scanned') AS reason,
  coalesce(payload ->> '$.hash', payload ->> '$.head')                     AS hash,   -- of a text; of a checkpoint
  payload                                                                  AS payload -- the whole of it, JSON
FROM entries
WHERE kind NOT IN ('frame', 'reading', 'order', 'verdict', 'cross-check', 'instrument-check');
