package store

import "context"

// settingsTable is the migration for what the maker was asked once.
const settingsTable = `CREATE TABLE settings (
		name  TEXT PRIMARY KEY,
		value TEXT NOT NULL
	) STRICT;`

// outFace is the setting's name.
const outFace = "out-face"

// OutFace returns what the maker calls the face that the field comes out of: "north",
// as in physics, or "south"; "" where nobody was asked yet. It is asked once, on
// whichever page comes first.
func (s *Store) OutFace(ctx context.Context) (face string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT value FROM settings WHERE name = ?", outFace).Scan(&face)
	return face, orNone(err)
}

// SetOutFace keeps what the maker calls that face.
func (s *Store) SetOutFace(ctx context.Context, face string) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO settings (name, value) VALUES (?,?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", outFace, face)
	return err
}
