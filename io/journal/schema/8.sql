-- Version 8: an index of what people search for by parts of words, and who asked
-- what of the machine.

-- One row for each batch, by its number: recipe, lot, tags, notes and comments, one
-- to a line. It follows from the facts; the texts themselves are kept there only.
CREATE VIRTUAL TABLE found USING fts5(words, content = '', contentless_delete = 1, tokenize = 'trigram');

CREATE VIEW words_of_batches AS SELECT id AS batch, recipe || coalesce(
  (SELECT char(10) || group_concat(iif(field = 'tag', item, value), char(10)) FROM facts
    WHERE batch = batches.id AND field IN ('lot', 'note', 'cup_comments', 'tag')), '') AS words FROM batches;

INSERT INTO found (rowid, words) SELECT batch, words FROM words_of_batches;

CREATE TRIGGER batches_found AFTER INSERT ON batches
BEGIN INSERT OR REPLACE INTO found (rowid, words) SELECT batch, words FROM words_of_batches WHERE batch = new.id; END;
CREATE TRIGGER facts_found AFTER INSERT ON facts WHEN new.field IN ('lot', 'note', 'cup_comments', 'tag')
BEGIN INSERT OR REPLACE INTO found (rowid, words) SELECT batch, words FROM words_of_batches WHERE batch = new.batch; END;
CREATE TRIGGER facts_lost AFTER DELETE ON facts WHEN old.field IN ('lot', 'note', 'cup_comments', 'tag')
BEGIN INSERT OR REPLACE INTO found (rowid, words) SELECT batch, words FROM words_of_batches WHERE batch = old.batch; END;

CREATE TABLE audit (
  id       INTEGER PRIMARY KEY AUTOINCREMENT,
  at       TEXT NOT NULL,    -- UTC
  account  TEXT NOT NULL,    -- who was signed in; '': nobody
  role     TEXT NOT NULL,    -- that the request had; '': none
  who      TEXT NOT NULL,    -- the name that the request itself gave; '': none
  source   TEXT NOT NULL,    -- address, socket or command line
  local    INTEGER NOT NULL CHECK (local IN (0, 1)), -- made at the machine
  action   TEXT NOT NULL CHECK (action <> ''),
  detail   TEXT NOT NULL,
  accepted INTEGER NOT NULL CHECK (accepted IN (0, 1)),
  reason   TEXT NOT NULL     -- what was done, or why not
) STRICT;

CREATE TRIGGER audit_stays BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit log is only added to'); END;
CREATE TRIGGER audit_remains BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit log is only added to'); END;
