package store

import (
	"context"
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
	rows, err := s.db.QueryContext(ctx, "SELECT dialect FROM dialects ORDER BY used DESC")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out [][]byte
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		out = append(out, []byte(text))
	}
	return out, rows.Err()
}

// KeepDialect stores a dialect under a name, in place of the one of that name.
// An old name, where one is given, is forgotten with it.
func (s *Store) KeepDialect(ctx context.Context, name, old string, dialect []byte) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after a commit
	if old != "" && old != name {
		if _, err := tx.ExecContext(ctx, "DELETE FROM dialects WHERE name=?", old); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO dialects (name, dialect, used) VALUES (?,?,(SELECT COALESCE(MAX(used),0)+1 FROM dialects))
		ON CONFLICT(name) DO UPDATE SET dialect=excluded.dialect, used=excluded.used`, name, string(dialect)); err != nil {
		return err
	}
	return tx.Commit()
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
