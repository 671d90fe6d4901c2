package report

import (
	"bytes"
	"errors"
	"regexp"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"coilsweep/fit"
)

func tableText(t *testing.T, r fit.Result, o TableOptions) string {
	t.Helper()
	var b bytes.Buffer
	if err := Table(&b, r, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// loneTake is what a single take without further facts gives.
func loneTake() fit.Result {
	r := inventedResult(threeLoads[:1], 20)
	why := "one take alone gives resonance and Q: add a take with a known capacitor, or a meter's L to coil.toml"
	for _, q := range []*fit.Quantity{&r.Inductance, &r.Capacitance, &r.Resistance, &r.CapacitanceCoil} {
		*q = fit.Unknown(why)
	}
	r.BareResonance = fit.Unknown("the capacitance of the fixture is not known: give --fixture-c")
	r.BareQ = r.BareResonance
	r.Line, r.Eddy, r.Meter, r.Parts, r.Budget, r.Advice, r.Warnings = nil, nil, nil, nil, nil, nil, nil
	r.Takes[0].Used = false
	r.Takes[0].Flags = []string{"clipped"}
	return r
}

func TestTableGolden(t *testing.T) {
	for _, test := range []struct {
		file   string
		result fit.Result
		o      TableOptions
	}{
		{"table-80.txt", inventedResult(threeLoads, 20), TableOptions{}},
		{"table-110-budget.txt", inventedResult(eightLoads, 20), TableOptions{Width: 110, Budget: true}},
		{"table-50.txt", inventedResult(threeLoads, 20), TableOptions{Width: 50}},
		{"table-unknown.txt", loneTake(), TableOptions{Width: 80}},
		{"table-colour.txt", inventedResult(threeLoads, 20), TableOptions{Width: 80, Colour: true}},
	} {
		t.Run(test.file, func(t *testing.T) {
			golden(t, test.file, []byte(tableText(t, test.result, test.o)))
		})
	}
}

// Colour may carry nothing: without its escape sequences the coloured table is
// the plain one.
func TestColourIsNeverTheOnlyCarrier(t *testing.T) {
	sgr := regexp.MustCompile("\x1b\\[[0-9;]*m")
	for _, r := range []fit.Result{inventedResult(eightLoads, 20), loneTake()} {
		plain := tableText(t, r, TableOptions{Width: 100, Budget: true})
		coloured := tableText(t, r, TableOptions{Width: 100, Budget: true, Colour: true})
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
	r := loneTake()
	text := tableText(t, r, TableOptions{Width: 200})
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
	r := inventedResult(threeLoads, 20)
	r.Coil = strings.Repeat("コイル", 60)
	r.Takes[0].Name = strings.Repeat("very long ", 20)
	r.Takes[1].Name = "e\u0301\u0301tude 線圈"
	for _, width := range []int{60, 80, 100, 120} {
		for line := range strings.Lines(tableText(t, r, TableOptions{Width: width, Budget: true})) {
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
	r := inventedResult(threeLoads, 20)
	r.Coil = "red \x1b[31m bell \a"
	r.Takes[0].Name = "over\u202eride\r\n\u009b31m"
	r.Warnings = []string{"broken \xff\xfe text"}
	text := tableText(t, r, TableOptions{Width: 150})
	for _, bad := range []string{"\x1b", "\a", "\r", "\u202e", "\u009b", "\xff"} {
		if strings.Contains(text, bad) {
			t.Errorf("%q reaches the terminal", bad)
		}
	}
}

type fullDisk struct{}

var errFull = errors.New("disk is full")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestWritersReportTheirError(t *testing.T) {
	r := inventedResult(threeLoads, 20)
	for name, err := range map[string]error{
		"table": Table(fullDisk{}, r, TableOptions{}),
		"CSV":   WriteCSV(fullDisk{}, r, CSVOptions{}),
		"JSON":  WriteJSON(fullDisk{}, r),
		"page":  Page(fullDisk{}, Document{Result: r}),
	} {
		if !errors.Is(err, errFull) {
			t.Errorf("%s: got error %v, want %v", name, err, errFull)
		}
	}
}
