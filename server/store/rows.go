package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
)

// querier is the database, or a transaction in it.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// collect reads what a query finds, row by row.
func collect[T any](ctx context.Context, in querier, scan func(*sql.Rows) (T, error), query string, args ...any) ([]T, error) {
	rows, err := in.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := []T{}
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, rows.Err()
}

// together makes several changes, all of them or none.
func (s *Store) together(ctx context.Context, change func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after a commit
	if err := change(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// orNone takes a row that is not there for one of empty values.
func orNone(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	return err
}

// textOf are the lines of a message as they are stored, JSON Lines.
func textOf(lines []json.RawMessage) string {
	var b strings.Builder
	for _, l := range lines {
		b.Write(l)
		b.WriteByte('\n')
	}
	return b.String()
}

// sameLines tells whether two texts of lines say the same, however each is spelled: who
// sends a message again may write its keys in another order, or 0.10 for 0.1.
func sameLines(a, b string) bool {
	meant := func(text string) (all []any) {
		for _, l := range linesOf(text) {
			var v any
			if json.Unmarshal(l, &v) != nil {
				return nil
			}
			all = append(all, v)
		}
		return all
	}
	of := meant(a)
	return of != nil && reflect.DeepEqual(of, meant(b))
}

// linesOf is the inverse of textOf.
func linesOf(text string) []json.RawMessage {
	lines := []json.RawMessage{}
	for l := range strings.Lines(text) {
		lines = append(lines, json.RawMessage(strings.TrimSuffix(l, "\n")))
	}
	return lines
}
