package journal

import (
	"fmt"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// run binds and executes a prepared statement and leaves it reset.
func run(s *sqlite3.Stmt, args ...any) error {
	if err := bind(s, args...); err != nil {
		return err
	}
	return s.Exec()
}

// bind binds args to the parameters from 1. Unknown numbers become NULL.
func bind(s *sqlite3.Stmt, args ...any) error {
	for i, a := range args {
		var err error
		switch v := a.(type) {
		case nil:
			err = s.BindNull(i + 1)
		case string:
			err = s.BindText(i+1, v)
		case int:
			err = s.BindInt(i+1, v)
		case int64:
			err = s.BindInt64(i+1, v)
		case uint64:
			err = s.BindInt64(i+1, int64(v))
		case []byte:
			err = s.BindBlob(i+1, v)
		case bool:
			err = s.BindBool(i+1, v)
		case record.Number:
			err = bindNumber(s, i+1, v)
		default:
			err = fmt.Errorf("parameter %d of %q has the type %T, which is not bound here", i+1, s.SQL(), a)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func bindNumber(s *sqlite3.Stmt, at int, v record.Number) error {
	if !v.Known() {
		return s.BindNull(at)
	}
	return s.BindFloat(at, float64(v))
}

func columnNumber(s *sqlite3.Stmt, at int) record.Number {
	if s.ColumnType(at) == sqlite3.NULL {
		return record.Unknown
	}
	return record.Number(s.ColumnFloat(at))
}

// orNull is nil for 0, which stands for "no batch" in a record.
func orNull(id uint64) any {
	if id == 0 {
		return nil
	}
	return id
}
