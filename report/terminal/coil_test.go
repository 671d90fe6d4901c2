package terminal

import (
	"bytes"
	"errors"
	"regexp"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"coilsweep/fit"
	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func tableText(t *testing.T, r fit.Result, o Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := Coil(&b, r, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTableGolden(t *testing.T) {
	for _, test := range []struct {
		file   string
		result fit.Result
		o      Options
	}{
		{"table-80.txt", invented.Result(invented.ThreeLoads, 20), Options{}},
		{"table-110-budget.txt", invented.Result(invented.EightLoads, 20), Options{Width: 110, Budget: true}},
		{"table-50.txt", invented.Result(invented.ThreeLoads, 20), Options{Width: 50}},
		{"table-unknown.txt", invented.LoneTake(), Options{Width: 80}},
		{"table-colour.txt", invented.Result(invented.ThreeLoads, 20), Options{Width: 80, Colour: true}},
	} {
		t.Run(test.file, func(t *testing.T) {
			golden.Same(t, test.file, []byte(tableText(t, test.result, test.o)))
		})
	}
}

// Colour may carry nothing: without its escape sequences the coloured table is
// the plain one.
func TestColourIsNeverTheOnlyCarrier(t *testing.T) {
	sgr := regexp.MustCompile("\x1b\\[[0-9;]*m")
	for _, r := range []fit.Result{invented.Result(invented.EightLoads, 20), invented.LoneTake()} {
		plain := tableText(t, r, Options{Width: 100, Budget: true})
		coloured := tableText(t, r, Options{Width: 100, Budget: true, Colour: true})
		if !sgr.MatchString(coloured) {
			t.Error("no colour where it was asked for")
		}
		if got := sgr.ReplaceAllString(coloured, ""); got != plain {
			t.Errorf("coloured table without colours:\n%s\nplain table:\n%s", got, plain)
		}
		if strings.Contains(plain, "\x1b") {
			t.Error("escape sequences in a table without colour")
		}
	}
}

func TestUnknownHasItsSignAndReason(t *testing.T) {
	r := invented.LoneTake()
	text := tableText(t, r, Options{Width: 200})
	for _, want := range []string{"?1", "?2", "?1 not known: " + r.Inductance.Why, "?2 not known: " + r.BareQ.Why, "not used, clipped"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, never := range []string{"NaN", "?3"} {
		if strings.Contains(text, never) {
			t.Errorf("%q in\n%s", never, text)
		}
	}
}

// No line is wider than the terminal, whatever the names.
func TestTableKeepsToItsWidth(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	r.Coil = strings.Repeat("コイル", 60)
	r.Takes[0].Name = strings.Repeat("very long ", 20)
	r.Takes[1].Name = "e\u0301\u0301tude 線圈"
	for _, width := range []int{60, 80, 100, 120} {
		for line := range strings.Lines(tableText(t, r, Options{Width: width, Budget: true})) {
			if w := uniseg.StringWidth(strings.TrimRight(line, "\n")); w > width {
				t.Errorf("width %d: %d cells in %q", width, w, line)
			}
		}
	}
}

// Columns align although names have wide and combining characters.
func TestColumnsAlign(t *testing.T) {
	c := columns{gap: 2}
	for _, name := range []string{"ab", "線圈", "e\u0301", "é", "👩‍🔧"} {
		c.add(name, "|")
	}
	for _, line := range c.lines(nil) {
		before, _, _ := strings.Cut(line, "|")
		if w := uniseg.StringWidth(before); w != 6 {
			t.Errorf("%q: bar at cell %d, want 6", line, w)
		}
	}
}

// A name from a file must not steer the terminal.
func TestTableShowsControlsHarmless(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	r.Coil = "red \x1b[31m bell \a"
	r.Takes[0].Name = "over\u202eride\r\n\u009b31m"
	r.Warnings = []string{"broken \xff\xfe text"}
	text := tableText(t, r, Options{Width: 150})
	for _, bad := range []string{"\x1b", "\a", "\r", "\u202e", "\u009b", "\xff"} {
		if strings.Contains(text, bad) {
			t.Errorf("%q reaches the terminal", bad)
		}
	}
}

func TestTableReportsItsError(t *testing.T) {
	if err := Coil(invented.FullDisk{}, invented.Result(invented.ThreeLoads, 20), Options{}); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}
