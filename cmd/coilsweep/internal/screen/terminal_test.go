package screen

import (
	"bytes"
	"testing"
)

// LC_ALL comes before LC_CTYPE, and that before LANG; an empty one does not
// count (POSIX.1-2017, 8.2).
func TestUnicodeLocale(t *testing.T) {
	for _, test := range []struct {
		all, ctype, lang string
		want             bool
	}{
		{"", "", "", false}, {"", "", "de_DE.UTF-8", true}, {"", "", "en_US.utf8", true},
		{"C", "", "de_DE.UTF-8", false},
		{"", "C.UTF-8", "C", true}, {"POSIX", "C.UTF-8", "C.UTF-8", false}, {"", "de_DE.ISO-8859-1", "C.UTF-8", false},
	} {
		got := unicodeLocale("linux", func(name string) string {
			return map[string]string{"LC_ALL": test.all, "LC_CTYPE": test.ctype, "LANG": test.lang}[name]
		})
		if got != test.want {
			t.Errorf("LC_ALL=%q LC_CTYPE=%q LANG=%q: UTF-8 is %t", test.all, test.ctype, test.lang, got)
		}
	}
}

func TestUnicodeWithoutLocale(t *testing.T) {
	for system, want := range map[string]bool{"linux": false, "windows": true, "darwin": true} {
		if got := unicodeLocale(system, func(string) string { return "" }); got != want {
			t.Errorf("%s: UTF-8 is %t", system, got)
		}
	}
}

// What is not a terminal has neither width nor colour.
func TestNoTerminal(t *testing.T) {
	if width, colour := WidthOf(&bytes.Buffer{}); width != 0 || colour {
		t.Errorf("a buffer has width %d and colour %t", width, colour)
	}
}
