package screen

import (
	"os"
	"syscall"

	"github.com/inconshreveable/mousetrap"
)

var setConsoleMode = syscall.NewLazyDLL("kernel32.dll").NewProc("SetConsoleMode")

// switchOnEscapes has the console obey escape sequences, which it has been able to
// since Windows 10; false: it cannot. It stays so after the program, as PowerShell
// and Windows' terminal have it anyway.
func switchOnEscapes(f *os.File) bool {
	const enableVirtualTerminalProcessing = 4
	var mode uint32
	if syscall.GetConsoleMode(syscall.Handle(f.Fd()), &mode) != nil {
		return false
	}
	done, _, _ := setConsoleMode.Call(f.Fd(), uintptr(mode|enableVirtualTerminalProcessing))
	return done != 0
}

// ByDoubleClick tells whether the program was started from the desktop, so that its
// window closes when it ends.
func ByDoubleClick() bool { return mousetrap.StartedByExplorer() }

// Opener shows a web page in the browser.
func Opener(url string) []string { return []string{"rundll32", "url.dll,FileProtocolHandler", url} }
