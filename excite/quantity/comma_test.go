package quantity

import (
	"strings"
	"testing"
)

func TestWithPoint(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"4,7k", "4.7k"}, {"4.7k", "4.7k"}, {"4k7", "4k7"}, {"0,5H 1%", "0.5H 1%"},
		{"470p 0,5%", "470p 0.5%"}, {"470p,1%", "470p,1%"}, {"470p, 0,5%", "470p, 0.5%"},
		{"2,4H,5%", "2.4H,5%"}, {"100,1%", "100,1%"}, {"100,5 1%", "100.5 1%"},
		{"7,85k@22,5C 0,5%", "7.85k@22.5C 0.5%"}, {"2,310H 0,5% + 2 digits", "2.310H 0.5% + 2 digits"},
		{"470p 1% || 2,2n 1%", "470p 1% || 2.2n 1%"}, {"0,500", "0.500"}, {"4,700k", "4.700k"},
		{"−12,5", "-12.5"}, {"12,50", "12.50"}, {"", ""}, {"steam, hot", "steam, hot"},
	} {
		if got, err := WithPoint(tt.text); err != nil || got != tt.want {
			t.Errorf("%q is %q, %v; want %q", tt.text, got, err, tt.want)
		}
	}
	for _, text := range []string{"1,000", "48,000", "1,000,000", "470,000 1%", "-12,000"} {
		if got, err := WithPoint(text); err == nil || !strings.Contains(err.Error(), "thousands or decimals") {
			t.Errorf("%q is %q, %v", text, got, err)
		}
	}
}

// What the comma becomes is read as the point is, and nothing that could be read before
// means something else.
func FuzzWithPoint(f *testing.F) {
	for _, text := range []string{"4,7k 1%", "470p,1%", "100,1%", "1,000", "2.31H 0.5% + 2 digits", "7.85k@22C", "4k7"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		before, err := Parse(text, Ohm)
		pointed, wrong := WithPoint(text)
		if err != nil || wrong != nil {
			return
		}
		after, err := Parse(pointed, Ohm)
		if err != nil || before.SI != after.SI || before.Half != after.Half {
			t.Errorf("%q means %+v, with a point %q %+v, %v", text, before, pointed, after, err)
		}
	})
}
