package store

import (
	"context"
	"database/sql"
)

// ThrownOut is a reading that the person took back. Its samples stay stored.
type ThrownOut struct {
	Source string
	Coil   string  // the first of a pass; across what an ohmmeter was
	T      float64 // when it began, seconds by its source's clock
}

// ThrowOut marks a reading as taken back.
func (s *Store) ThrowOut(ctx context.Context, check string, t ThrownOut) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO thrown_out (check_id, source, coil, hold_t) VALUES (?,?,?,?) ON CONFLICT DO NOTHING", check, t.Source, t.Coil, t.T)
	return err
}

// ThrownOut lists the readings of a check that were taken back.
func (s *Store) ThrownOut(ctx context.Context, check string) ([]ThrownOut, error) {
	return collect(ctx, s.db, func(r *sql.Rows) (t ThrownOut, err error) {
		err = r.Scan(&t.Source, &t.Coil, &t.T)
		return t, err
	}, "SELECT source, coil, hold_t FROM thrown_out WHERE check_id=?", check)
}

// PutBack makes a reading that was taken back count again.
func (s *Store) PutBack(ctx context.Context, check string, t ThrownOut) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM thrown_out WHERE check_id=? AND source=? AND coil=? AND hold_t=?", check, t.Source, t.Coil, t.T)
	return err
}

// coilNames makes the coil part of a reading's name: a source whose clock begins anew
// reads at the same time again.
var coilNames = `DROP TRIGGER thrown_out_closed;
	DROP TRIGGER thrown_out_stay;
	ALTER TABLE thrown_out RENAME TO thrown_out_by_time;
	CREATE TABLE thrown_out (
		check_id TEXT NOT NULL REFERENCES checks(id),
		source   TEXT NOT NULL,
		coil     TEXT NOT NULL, -- the first of a pass; across what an ohmmeter was
		hold_t   REAL NOT NULL,
		PRIMARY KEY (check_id, source, coil, hold_t)
	) STRICT;
	INSERT INTO thrown_out SELECT check_id, source, coil, hold_t FROM thrown_out_by_time ORDER BY rowid;
	DROP TABLE thrown_out_by_time;
	ALTER TABLE holds RENAME TO holds_by_time;
	CREATE TABLE holds (
		check_id TEXT NOT NULL REFERENCES checks(id),
		source   TEXT NOT NULL,
		coil     TEXT NOT NULL,
		hold_t   REAL NOT NULL,
		samples  INTEGER NOT NULL,
		PRIMARY KEY (check_id, source, coil, hold_t)
	) STRICT;
	INSERT INTO holds SELECT check_id, source, coil, hold_t, samples FROM holds_by_time ORDER BY rowid;
	DROP TABLE holds_by_time;
	` + thrownClosed + thrownStay
