package record

import (
	"os"
	"strconv"

	"coilsweep/capture/rooted"
)

// hold keeps hold of the folder dir while others may rename it, until release. where is
// its path; empty: it was removed.
func hold(dir string) (where func() string, release func()) {
	d, err := rooted.Open(dir)
	if err != nil {
		return func() string { return dir }, func() {}
	}
	is := func(path string) bool {
		a, err := d.Stat()
		b, berr := rooted.Stat(path)
		return err == nil && berr == nil && os.SameFile(a, b)
	}
	return func() string {
		if is(dir) {
			return dir
		}
		if now, err := os.Readlink("/proc/self/fd/" + strconv.Itoa(int(d.Fd()))); err == nil && is(now) {
			return now
		}
		return ""
	}, func() { d.Close() }
}
