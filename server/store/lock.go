package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
)

// lockName is a file that stays empty. The program at work holds it locked, by the
// operating system through SQLite: the lock ends with the process, however that ends.
// The database itself stays open to whoever only reads.
const lockName = "polewise.lock"

// inUseError says that another program is at work in a data folder.
type inUseError struct{ dir string }

func (e *inUseError) Error() string {
	return fmt.Sprintf("another polewise is at work in the data folder %s. Use its bench page, or end it and start again", e.dir)
}

// folderLock is a data folder kept for this program.
type folderLock struct {
	db   *sql.DB
	conn *sql.Conn // its transaction is never ended
}

func (l *folderLock) Close() error { return errors.Join(l.conn.Close(), l.db.Close()) }

// lock keeps a data folder for this program until it is closed.
func lock(dir string) (*folderLock, error) {
	// A second's wait is for the one before, which may be ending.
	at, err := address(filepath.Join(dir, lockName), "busy_timeout(1000)", "journal_mode(MEMORY)")
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", at)
	if err != nil {
		return nil, err
	}
	ctx := context.Background()
	conn, err := db.Conn(ctx)
	if err == nil {
		if _, err = conn.ExecContext(ctx, "BEGIN EXCLUSIVE"); err == nil {
			return &folderLock{db, conn}, nil
		}
		conn.Close()
	}
	db.Close()
	if busy(err) {
		return nil, &inUseError{dir}
	}
	return nil, fmt.Errorf("cannot lock %s: %w", filepath.Join(dir, lockName), err)
}
