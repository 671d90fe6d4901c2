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
	for _, want := range []string{"–¹", "–²", "not known: " + r.Inductance.Why, "¹ " + r.BareQ.Why,
		"not used, clipped"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, never := range []string{"NaN", "–³"} {
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
	if err := Coil(invented.FullDisk{}, invented.Result(invented.ThreeLoads, 20), Options{}); !errors.Is(err,
		invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}

// Every reason below a table belongs to a cell that is shown, whatever columns
// the width leaves.
func TestEveryReasonHasItsCell(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	for i := range r.Takes {
		r.Takes[i].LC, r.Takes[i].WidthHz = fit.Unknown("no fixture is stated"),
			fit.Unknown("the peak is too low for one")
	}
	r.Takes[1].Peak = fit.Unknown("the sweep ends below it")
	for _, width := range []int{40, 60, 80, 110, 200} {
		text := tableText(t, r, Options{Width: width})
		for _, reason := range regexp.MustCompile(`(?m)^([⁰¹²³⁴-⁹]+) .*`).FindAllStringSubmatch(text, -1) {
			if !regexp.MustCompile(`–` + reason[1] + `(\s|$)`).MatchString(text) {
				t.Errorf("width %d: no cell refers to %q", width, reason[0])
			}
		}
		if n := strings.Count(text, "no fixture is stated"); n > 1 {
			t.Errorf("width %d: one reason stands %d times", width, n)
		}
	}
}

// People read minus signs, also in sentences that the fit made.
func TestNoHyphenForAMinusSign(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	r.Warnings = append(r.Warnings, "the reading does not agree (En -0.37)")
	r.Advice = append(r.Advice, fit.Advice{Text: "it would move by -3 %"})
	r.Meter[0].Verdict = "differs: -1.2 % (En -1.04)"
	r.Takes[0].Peak = fit.Unknown("it lies -2 dB below the plateau")
	r.Basis = append(r.Basis, "a temperature of -5 °C")
	hyphen := regexp.MustCompile(`(^|[\s(±])-\d`)
	for name, text := range map[string]string{"table": tableText(t, r, Options{Width: 120}),
		"crosscheck": crosscheckText(t, r)} {
		if at := hyphen.FindStringIndex(text); at != nil {
			t.Errorf("%s: a hyphen for a minus sign in %q", name, text[max(0, at[0]-30):at[1]])
		}
	}
}

func crosscheckText(t *testing.T, r fit.Result) string {
	t.Helper()
	var b bytes.Buffer
	if err := Crosscheck(&b, r, Options{Width: 80}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The digits of resonance, L, C and R follow their U95: a repeatability of 0.1 %
// shows in comparison, batch and list.
func TestDigitsFollowTheUncertainty(t *testing.T) {
	coils := invented.Coils(3, 20)
	var comparison, batch, list bytes.Buffer
	if err := errors.Join(Comparison(&comparison, invented.Compared(t, coils), "given", Options{}),
		Batch(&batch, invented.Batch(t, 8, 20), "", Options{Width: 120}),
		List(&list, invented.List(), Options{Width: 120})); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"comparison": comparison.String(), "batch": batch.String(),
		"list": list.String()} {
		for _, want := range []string{` 1[0-9]\.[0-9]{3} kHz`, ` 2\.4[0-9]{2} H`, ` 210\.0 pF`, ` 7\.850 kΩ`} {
			if !regexp.MustCompile(want).MatchString(text) {
				t.Errorf("%s does not match %q:\n%s", name, want, text)
			}
		}
	}
}
