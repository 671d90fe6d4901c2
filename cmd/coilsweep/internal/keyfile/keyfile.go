// Package keyfile is the file in which the key of the bench page is kept from one start to
// the next.
package keyfile

import (
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"runtime"
	"strings"
)

// wellMadeKey is a key of 128 bits or more that an address can hold.
var wellMadeKey = regexp.MustCompile(`^[A-Za-z0-9_-]{22,128}$`)

// Kept is the key in the file at path, which is made where it is not there. Nobody but
// its owner may read it: whoever has it can play sounds.
func Kept(path string) (string, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return readKey(path)
	} else if err != nil {
		return "", fmt.Errorf("cannot make the file of the key: %w", err)
	}
	random := make([]byte, 16)
	rand.Read(random) // never fails
	key := strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(random))
	_, err = f.WriteString(key + "\n")
	if err = errors.Join(err, f.Close()); err != nil {
		os.Remove(path)
		return "", fmt.Errorf("cannot make the file of the key: %w", err)
	}
	return key, nil
}

func readKey(path string) (string, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return "", fmt.Errorf("cannot read the key: %w", err)
	case !info.Mode().IsRegular() || info.Size() > 1024:
		return "", fmt.Errorf("%s does not hold a key: name a new file, which is made then", path)
	case runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0: // modes say nothing there
		return "", fmt.Errorf("others can read the key in %s: run 'chmod 600' on it, or remove it for a new key", path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("cannot read the key: %w", err)
	}
	key := strings.TrimSpace(string(text))
	if !wellMadeKey.MatchString(key) {
		return "", fmt.Errorf("%s does not hold a key: name a new file, which is made then", path)
	}
	return key, nil
}
