package notation

import (
	"fmt"
	"regexp"
	"strings"
	"time"
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

// hyphened is a hyphen before a number that stands for a minus sign.
var hyphened = regexp.MustCompile(`(^|[\s(±,;:/])-(\.?\d)`)

// Typeset is a sentence of the program, harmless on one line and with true minus
// signs. The values of options keep their hyphens, so that a command line can
// be copied.
func Typeset(s string) string {
	s = Visible(s)
	out, from := "", 0
	for _, at := range hyphened.FindAllStringSubmatchIndex(s, -1) {
		sign := at[3]
		if before := strings.Fields(s[:sign]); len(before) > 0 && strings.HasPrefix(before[len(before)-1], "--") {
			continue
		}
		out += s[from:sign] + "−"
		from = sign + 1
	}
	return out + s[from:]
}

// TypesetAll is Typeset for each of a list.
func TypesetAll(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = Typeset(s)
	}
	return out
}

// Since is how long ago something was, for somebody who looks up from the bench:
// "just now", "3 min ago", then the time, or date and time of another day.
func Since(at, now time.Time) string {
	switch ago := now.Sub(at); {
	case at.IsZero():
		return ""
	case ago < time.Minute:
		return "just now"
	case ago < time.Hour:
		return fmt.Sprintf("%d min ago", int(ago.Minutes()))
	}
	at = at.In(now.Location())
	if at.Format(time.DateOnly) == now.Format(time.DateOnly) {
		return at.Format("15:04")
	}
	return at.Format("2006-01-02 15:04")
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
