//go:build !windows

package screen

import (
	"os"
	"runtime"
)

// switchOnEscapes has nothing to switch on.
func switchOnEscapes(*os.File) bool { return true }

// ByDoubleClick is false: desktops other than Windows' show no window for a program
// of the command line.
func ByDoubleClick() bool { return false }

// Opener shows a web page in the browser.
func Opener(url string) []string {
	if runtime.GOOS == "darwin" {
		return []string{"open", url}
	}
	return []string{"xdg-open", url}
}
