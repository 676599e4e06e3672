package store

import (
	"database/sql/driver"
	"strings"
	"time"

	"modernc.org/sqlite"
)

// What SQLite does not know: letters beyond A to Z in lower case, and a stored time as
// this computer's clock on the wall shows it, which is what pages show.
func init() {
	sqlite.MustRegisterScalarFunction("folded", 1, func(_ *sqlite.FunctionContext, args []driver.Value) (driver.Value, error) {
		text, _ := args[0].(string)
		return strings.ToLower(text), nil
	})
	sqlite.MustRegisterScalarFunction("wall", 1, func(_ *sqlite.FunctionContext, args []driver.Value) (driver.Value, error) {
		text, _ := args[0].(string)
		t, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			return text, nil // empty, or taken in from elsewhere as it was
		}
		return t.Local().Format("2006-01-02 15:04"), nil
	})
}
