//go:build !windows

package atomicfile

import (
	"errors"
	"syscall"

	"coilsweep/capture/rooted"
)

// Rename is rooted.Rename.
func Rename(from, to string) error { return rooted.Rename(from, to) }

func syncDir(dir string) error {
	d, err := rooted.Open(dir)
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
