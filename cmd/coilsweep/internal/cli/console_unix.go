//go:build !windows

package cli

import (
	"os"
	"runtime"
)

// switchOnEscapes has nothing to switch on.
func switchOnEscapes(*os.File) bool { return true }

// byDoubleClick is false: desktops other than Windows' show no window for a program
// of the command line.
func byDoubleClick() bool { return false }

// opener shows a web page in the browser.
func opener(url string) []string {
	if runtime.GOOS == "darwin" {
		return []string{"open", url}
	}
	return []string{"xdg-open", url}
}
