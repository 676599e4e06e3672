package store

import "context"

// ThrownOut is a hold that the person took back. Its samples stay stored.
type ThrownOut struct {
	Source string
	Coil   string
	T      float64
}

// ThrowOut marks a hold as taken back.
func (s *Store) ThrowOut(ctx context.Context, check string, t ThrownOut) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO thrown_out (check_id, source, coil, hold_t) VALUES (?,?,?,?) ON CONFLICT DO NOTHING", check, t.Source, t.Coil, t.T)
	return err
}

// ThrownOut lists the holds of a check that were taken back.
func (s *Store) ThrownOut(ctx context.Context, check string) ([]ThrownOut, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT source, coil, hold_t FROM thrown_out WHERE check_id=?", check)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []ThrownOut
	for rows.Next() {
		var t ThrownOut
		if err := rows.Scan(&t.Source, &t.Coil, &t.T); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

// PutBack makes a hold that was taken back count again.
func (s *Store) PutBack(ctx context.Context, check string, t ThrownOut) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM thrown_out WHERE check_id=? AND source=? AND hold_t=?", check, t.Source, t.T)
	return err
}
