package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"coilsweep/capture/rooted"
)

// ErrChanged: a file is no longer what it was when it was read.
var ErrChanged = errors.New("was changed meanwhile")

// Replace is Write for a file that was read before: data only takes its place
// while its checksum (Sum) is still the same; empty: while there is no file. Else the
// error wraps ErrChanged. Where data is nil the file is removed. What another program
// writes between the comparison and the renaming is overwritten.
func Replace(path, sum string, data []byte) error {
	held, err := Read(path, MaxText)
	now := ""
	switch {
	case err == nil:
		now = Sum(held)
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("cannot read %s: %w", path, cause(err))
	}
	if now != sum {
		return fmt.Errorf("%s %w: read it again, and change that", path, ErrChanged)
	}
	if data == nil {
		return removed(path)
	}
	return Write(path, data)
}

// removed removes a file where there is one.
func removed(path string) error {
	if err := rooted.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("cannot remove %s: %w", path, cause(err))
	}
	return SyncDir(filepath.Dir(path))
}
