-- Version 4: tapes, from which batches can be replayed. What is in the pieces is
-- no matter of the journal. Those of old batches are deleted; batches are not.

CREATE TABLE tapes (
  batch INTEGER NOT NULL,
  seq   INTEGER NOT NULL, -- a number that is missing was lost
  start INTEGER NOT NULL CHECK (start IN (0, 1)),
  data  BLOB NOT NULL,
  PRIMARY KEY (batch, seq)
) STRICT;
