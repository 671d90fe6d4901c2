//go:build !linux

package record

import "coilsweep/capture/rooted"

// hold tells where the folder dir is; empty: it was renamed or removed. An open folder
// could not be given its name on some systems.
func hold(dir string) (where func() string, release func()) {
	return func() string {
		if _, err := rooted.Stat(dir); err != nil {
			return ""
		}
		return dir
	}, func() {}
}
