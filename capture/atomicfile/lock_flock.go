//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package atomicfile

import (
	"syscall"

	"coilsweep/capture/rooted"
)

func lock(dir string, wait bool) (unlock func()) {
	d, err := rooted.Open(dir)
	if err != nil {
		return func() {}
	}
	how := syscall.LOCK_EX
	if !wait {
		how |= syscall.LOCK_NB
	}
	for {
		err = syscall.Flock(int(d.Fd()), how)
		if err != syscall.EINTR {
			break
		}
	}
	if err == syscall.EWOULDBLOCK {
		d.Close()
		return nil
	}
	return func() { d.Close() }
}
