package atomicfile

import (
	"errors"

	"golang.org/x/sys/unix"
)

func exchange(a, b string) error {
	err := unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
	if err == unix.EINVAL { // what a file system says that cannot
		return errors.ErrUnsupported
	}
	return err
}
