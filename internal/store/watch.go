package store

import "context"

// LastChange returns the number of the latest change to the workspace, 0 before
// the first. It rises with every write, whichever process made it.
func (s *Store) LastChange(ctx context.Context) (int64, error) {
	var seq int64
	err := s.db.QueryRowContext(ctx, `SELECT last_change FROM workspace`).Scan(&seq)
	return seq, explain(err)
}
