package store

import "context"

// PutBack makes a hold that was taken back count again.
func (s *Store) PutBack(ctx context.Context, check string, t ThrownOut) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM thrown_out WHERE check_id=? AND source=? AND hold_t=?", check, t.Source, t.T)
	return err
}
