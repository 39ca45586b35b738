-- How far each feed has come: its receiver has kept every message up to this entry. Made where it is
-- missing: ledgers from before there were feeds have none.
CREATE TABLE IF NOT EXISTS feed_cursors (
  -- The feed's name in the settings.
  feed TEXT PRIMARY KEY,
  seq  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
