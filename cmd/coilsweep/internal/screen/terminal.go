package screen

import (
	"io"
	"os"
	"runtime"
	"strings"
	"time"

	"golang.org/x/term"

	"coilsweep/report/terminal"
)

// TableOptions suit text to what w is: colour and width on a terminal only, no
// colour where NO_COLOR asks for none, and the characters that the locale has.
func TableOptions(w io.Writer) terminal.Options {
	o := terminal.Options{ASCII: !unicodeLocale(runtime.GOOS, os.Getenv)}
	o.Width, o.Colour = WidthOf(w)
	return o
}

// WidthOf is the width of a terminal in cells, 0 where w is not a terminal,
// and whether it may be coloured.
func WidthOf(w io.Writer) (width int, colour bool) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return 0, false
	}
	if cells, _, err := term.GetSize(int(f.Fd())); err == nil {
		width = cells
	}
	return width, os.Getenv("NO_COLOR") == "" && obeys(f)
}

// Bell rings the bell of the terminal w, if it is one, several times.
func Bell(w io.Writer, times int) {
	if f, ok := w.(*os.File); ok && obeys(f) {
		for n := range times {
			if n > 0 {
				time.Sleep(between)
			}
			io.WriteString(f, "\a")
		}
	}
}

// between is the time from one ring to the next: shorter ones are heard as one.
const between = 300 * time.Millisecond

// obeys tells whether a terminal obeys escape sequences, which on Windows must be
// switched on.
func obeys(f *os.File) bool {
	return term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb" && switchOnEscapes(f)
}

// unicodeLocale tells whether the locale's characters are UTF-8: the first of
// LC_ALL, LC_CTYPE and LANG that is set says so (POSIX.1-2017, 8.2). Where none
// is set it is the C locale, and has ASCII. Windows and macOS have no such locale:
// where they set none, their terminals show UTF-8.
func unicodeLocale(system string, getenv func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if value := getenv(name); value != "" {
			value = strings.ToUpper(value)
			return strings.Contains(value, "UTF-8") || strings.Contains(value, "UTF8")
		}
	}
	return system == "windows" || system == "darwin"
}
