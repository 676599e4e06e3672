package pairing

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"polewise/server/whole"
)

const keyFile = "pairing.key"

// Key is the secret in the phone page's address: 128 random bits.
type Key string

// OpenKey loads the folder's pairing key, or makes one, so that a page kept
// open on a phone works again after a restart.
func OpenKey(dir string) (Key, error) {
	path := filepath.Join(dir, keyFile)
	raw, err := os.ReadFile(path)
	if err == nil {
		k := strings.TrimSpace(string(raw))
		if b, err := base64.RawURLEncoding.DecodeString(k); err == nil && len(b) == 16 {
			return Key(k), nil
		}
		return "", fmt.Errorf("%s does not hold a pairing key. Remove it to have a new one made", path)
	}
	if !errors.Is(err, os.ErrNotExist) {
		return "", err
	}
	var b [16]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", err
	}
	k := base64.RawURLEncoding.EncodeToString(b[:])
	return Key(k), whole.Write(path, []byte(k+"\n"), 0o600)
}

// Matches compares in constant time.
func (k Key) Matches(given string) bool {
	return len(given) == len(k) && subtle.ConstantTimeCompare([]byte(k), []byte(given)) == 1
}
