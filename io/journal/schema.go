package journal

import (
	_ "embed"
	"fmt"
	"strconv"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/ext/fts5"
)

// Every connection to a journal needs the index of words: triggers write it.
func init() { sqlite3.AutoExtension(fts5.Register) }

var (
	//go:embed schema/1.sql
	schema1 string
	//go:embed schema/2.sql
	schema2 string
	//go:embed schema/3.sql
	schema3 string
	//go:embed schema/4.sql
	schema4 string
	//go:embed schema/5.sql
	schema5 string
	//go:embed schema/6.sql
	schema6 string
	//go:embed schema/7.sql
	schema7 string
	//go:embed schema/8.sql
	schema8 string
)

// migrations lead from each schema version to the next, starting from an empty
// file. One that has shipped is never edited; there is no way back.
var migrations = []string{schema1, schema2, schema3, schema4, schema5, schema6, schema7, schema8}

// version reads the schema version; an empty file has 0.
func version(c *sqlite3.Conn) (int, error) {
	found, err := text(c, `SELECT name FROM sqlite_schema WHERE type = 'table' AND name = 'meta'`)
	if err != nil || found == "" {
		return 0, err
	}
	v, err := text(c, `SELECT value FROM meta WHERE key = 'schema_version'`)
	if err != nil {
		return 0, err
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("the table meta gives the schema version %q, which is not a number from 1", v)
	}
	return n, nil
}

func tooNew(v int) error {
	return fmt.Errorf("the journal has schema version %d, this program knows up to %d: use the newer program or another file", v, len(migrations))
}

// migrate brings the file to the newest schema, in one transaction.
func migrate(c *sqlite3.Conn) (err error) {
	tx, err := c.BeginImmediate()
	if err != nil {
		return err
	}
	defer tx.End(&err)
	v, err := version(c)
	if err != nil {
		return err
	}
	if v > len(migrations) {
		return tooNew(v)
	}
	for ; v < len(migrations); v++ {
		if v == 0 {
			if err := c.Exec(`CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT`); err != nil {
				return err
			}
		}
		if err := c.Exec(migrations[v]); err != nil {
			return fmt.Errorf("migrate from version %d: %w", v, err)
		}
		if err := once(c, `INSERT INTO meta VALUES ('schema_version', ?) ON CONFLICT DO UPDATE SET value = excluded.value`, strconv.Itoa(v+1)); err != nil {
			return err
		}
	}
	return nil
}

// text runs a query for one value, as text; "" if there is none.
func text(c *sqlite3.Conn, query string, args ...any) (string, error) {
	s, _, err := c.Prepare(query)
	if err != nil {
		return "", err
	}
	defer s.Close()
	if err := bind(s, args...); err != nil {
		return "", err
	}
	out := ""
	if s.Step() {
		out = s.ColumnText(0)
	}
	return out, s.Err()
}

// once prepares and runs one statement.
func once(c *sqlite3.Conn, query string, args ...any) error {
	s, _, err := c.Prepare(query)
	if err != nil {
		return err
	}
	defer s.Close()
	return run(s, args...)
}
