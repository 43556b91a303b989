package journal

import (
	"errors"
	"fmt"
	"runtime"

	"github.com/ncruces/go-sqlite3"
)

// gaveUp turns a panic of the database library into an error, deferred by whatever
// calls it. A damaged page can ask for more memory than there may be, and the
// library panics for want of memory: a damaged file must not end the program that
// controls the machine. A fault of this program itself stays a panic.
func gaveUp(err *error) {
	p := recover()
	if p == nil {
		return
	}
	cause, ok := p.(error)
	if own := runtime.Error(nil); !ok || errors.As(cause, &own) {
		panic(p)
	}
	*err = fmt.Errorf("the database gave up: %w: the file is damaged or memory is short (%w)", cause, sqlite3.CORRUPT)
}

// try does something and turns a panic of the library into an error.
func try(do func() error) (err error) {
	defer gaveUp(&err)
	return do()
}
