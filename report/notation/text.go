package notation

import (
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"

	"coilsweep/excite/quantity"
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

// Each is what of makes of each of a list.
func Each[T, U any](list []T, of func(T) U) []U {
	out := make([]U, len(list))
	for i, x := range list {
		out[i] = of(x)
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

// Count is "1 take", "3 takes".
func Count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// QuantityName is a key of result.json ("inductance_h", "resonance_hz of
// bare") in words, with its unit.
func QuantityName(key string) (words string, unit quantity.Unit) {
	name, take, ofTake := strings.Cut(key, " of ")
	unit = quantity.Ratio
	for _, u := range []struct {
		suffix string
		unit   quantity.Unit
	}{{"_hz", quantity.Hertz}, {"_ohm", quantity.Ohm}, {"_h", quantity.Henry}, {"_f", quantity.Farad}} {
		if stem, ok := strings.CutSuffix(name, u.suffix); ok {
			name, unit = stem, u.unit
			break
		}
	}
	switch name {
	case "q":
		name = "Q"
	case "bare_q":
		name = "Q of the coil alone"
	case "bare_resonance":
		name = "resonance of the coil alone"
	case "capacitance_coil":
		name = "self-capacitance"
	case "branch_resonance_resistance":
		name = "AC resistance at the resonance with nothing added"
	default:
		name = strings.ReplaceAll(name, "_", " ")
	}
	if ofTake {
		name += " of " + Visible(take)
	}
	return name, unit
}
