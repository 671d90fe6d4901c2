//go:build !windows

package atomicfile

import (
	"errors"
	"os"
	"syscall"
)

// Rename is os.Rename.
func Rename(from, to string) error { return os.Rename(from, to) }

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); !errors.Is(err, syscall.EINVAL) && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	return nil
}

func translate(err error) error { return err }
