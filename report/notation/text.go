package notation

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Visible makes outside text harmless on one line: control and
// direction-changing characters become visible.
func Visible(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n':
			return ' '
		case r < 0x20, r >= 0x7f && r < 0xa0, // controls
			r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069, // embeddings, overrides, isolates
			r == 0x200e, r == 0x200f, r == 0x061c, r == 0xfeff, r == 0x2028, r == 0x2029:
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}

// UpperFirst begins a sentence: it makes the first letter a capital.
func UpperFirst(s string) string {
	_, first := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:first]) + s[first:]
}

// Tied keeps numbers and their units on one line.
func Tied(s string) string {
	b := []rune(s)
	for i := 1; i+1 < len(b); i++ {
		if b[i] == ' ' && (b[i-1] >= '0' && b[i-1] <= '9' && b[i+1] != '(' || b[i-1] == '±' || b[i+1] == '±') {
			b[i] = '\u00a0'
		}
	}
	return string(b)
}

// VisibleAll is Visible for each of a list.
func VisibleAll(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = Visible(s)
	}
	return out
}

// Count is "1 take", "3 takes".
func Count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
