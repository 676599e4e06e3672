package store

import (
	"context"
	"database/sql"
	"errors"
)

// dialectsTable is the migration for what other sensors were taught.
const dialectsTable = `CREATE TABLE dialects (
		name    TEXT PRIMARY KEY,
		dialect TEXT NOT NULL, -- JSON, of the package feed
		used    INTEGER NOT NULL -- a counter: the highest was kept last
	) STRICT;`

// errNoDialect says that nothing is kept under a name.
var errNoDialect = errors.New("nothing is kept under that name")

// Dialects returns all that is kept, the latest first.
func (s *Store) Dialects(ctx context.Context) ([][]byte, error) {
	return collect(ctx, s.db, func(r *sql.Rows) (dialect []byte, err error) {
		err = r.Scan(&dialect)
		return dialect, err
	}, "SELECT dialect FROM dialects ORDER BY used DESC")
}

// KeepDialect stores a dialect under a name, in place of the one of that name.
// An old name, where one is given, is forgotten with it.
func (s *Store) KeepDialect(ctx context.Context, name, old string, dialect []byte) error {
	return s.together(ctx, func(tx *sql.Tx) error {
		if old != "" && old != name {
			if _, err := tx.ExecContext(ctx, "DELETE FROM dialects WHERE name=?", old); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO dialects (name, dialect, used) VALUES (?,?,(SELECT COALESCE(MAX(used),0)+1 FROM dialects))
		ON CONFLICT(name) DO UPDATE SET dialect=excluded.dialect, used=excluded.used`, name, string(dialect))
		return err
	})
}

// ForgetDialect removes what is kept under a name.
func (s *Store) ForgetDialect(ctx context.Context, name string) error {
	res, err := s.db.ExecContext(ctx, "DELETE FROM dialects WHERE name=?", name)
	if err != nil {
		return err
	}
	if n, err := res.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return errNoDialect
}
