package store

import (
	"context"
	"database/sql"
	"errors"
)

// settingsTable is the migration for what the maker was asked once.
const settingsTable = `CREATE TABLE settings (
		name  TEXT PRIMARY KEY,
		value TEXT NOT NULL
	) STRICT;`

// OutFace names the setting for what the maker calls the face that the field
// comes out of: "north", as in physics, or "south". Asked once, on whichever page
// comes first.
const OutFace = "out-face"

// Setting returns what is kept under a name, or "" where nothing is.
func (s *Store) Setting(ctx context.Context, name string) (string, error) {
	var v string
	err := s.db.QueryRowContext(ctx, "SELECT value FROM settings WHERE name = ?", name).Scan(&v)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return v, err
}

// SetSetting keeps a value under a name.
func (s *Store) SetSetting(ctx context.Context, name, value string) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO settings (name, value) VALUES (?,?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", name, value)
	return err
}
