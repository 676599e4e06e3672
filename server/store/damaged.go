package store

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Remedy says what to do about an error of the database or of a file beside it, in a
// sentence; empty where there is nothing more to say than the error does.
func Remedy(err error) string {
	if Damaged(err) {
		return fmt.Sprintf("The file is damaged. To put a backup back, with the program ended, move %s out of the data folder (%[1]s-wal and %[1]s-shm too, where they are there), and put the backup in its place under that name.", FileName)
	}
	if errors.Is(err, syscall.ENOSPC) || code(err) == sqlite3.SQLITE_FULL {
		return "The disk is full: make room on it."
	}
	switch code(err) {
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return "May this program write to that file and its folder?"
	}
	if busy(err) {
		return "Another program holds the file: is a second polewise running?"
	}
	return ""
}

// busy tells whether another program holds a file.
func busy(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_BUSY || c == sqlite3.SQLITE_LOCKED
}

// Damaged tells whether the database's file is no longer what was written to it.
func Damaged(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_CORRUPT || c == sqlite3.SQLITE_NOTADB
}

// code is SQLite's number of an error, without what says where it came from; 0 of
// another error.
func code(err error) int {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0
	}
	return e.Code() & 0xff
}

// setAsideForeignLog moves away what a killed program left of another database: SQLite
// would write it over a backup that was put back. A backup is in no write-ahead mode,
// which its header says; the database of a program at work always is.
func setAsideForeignLog(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	// https://www.sqlite.org/fileformat.html, 1.3: bytes 18 and 19, 1 is the legacy mode.
	head := make([]byte, 20)
	if _, err := io.ReadFull(f, head); err != nil || head[18] != 1 || head[19] != 1 {
		return nil // what cannot be read SQLite will tell of
	}
	for _, end := range []string{"-wal", "-shm"} {
		if _, err := os.Stat(path + end); err != nil {
			continue
		}
		if err := os.Rename(path+end, path+end+"-of-before"); err != nil {
			return err
		}
	}
	return nil
}
