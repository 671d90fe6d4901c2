//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package atomicfile

import "sync"

// locked keeps the parts of this program apart; other programs are not seen here.
var locked sync.Mutex

func lock(_ string, wait bool) (unlock func()) {
	if wait {
		locked.Lock()
	} else if !locked.TryLock() {
		return nil
	}
	return locked.Unlock
}
