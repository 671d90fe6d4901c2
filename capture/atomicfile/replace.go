package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
)

// ErrChanged: a file is no longer what it was when it was read.
var ErrChanged = errors.New("was changed meanwhile")

// Replace is Write for a file that was read before: data only takes its place
// while its checksum (Sum) is still the same; empty: while there is no file. Else the
// error wraps ErrChanged. What another program writes between the comparison and the
// renaming is overwritten.
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
	return Write(path, data)
}
