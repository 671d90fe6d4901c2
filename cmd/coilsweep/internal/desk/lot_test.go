package desk

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit/evaluation"
)

func TestFolderOf(t *testing.T) {
	for serial, want := range map[string]string{"2026-014": "2026-014", "A/1 b": "A-1-b", "..": "", "../x": "x",
		"Ä": "", "7.": "7", "con": "con"} {
		if got := folderOf(serial); got != want {
			t.Errorf("%q: %q, want %q", serial, got, want)
		}
	}
}

// bench is one on which every take is clipped, and that loses its device for one coil.
type bench struct {
	t        *testing.T
	measured map[string]bool
}

func (b bench) Take(_ context.Context, o *workbench.Measurement, dir string) error {
	if filepath.Base(dir) == "lost" {
		return errors.New("the device is gone")
	}
	if o.Redo || o.Take.Name != "bare" {
		b.t.Errorf("%s: take %s, redo %v", dir, o.Take.Name, o.Redo)
	}
	b.measured[filepath.Base(dir)] = true
	return &capture.UnfitError{What: "clipped"}
}

func (b bench) Fit(context.Context, string) (*evaluation.Evaluation, error) {
	b.t.Error("a coil without a usable take is fitted")
	return nil, errors.New("no")
}

func (bench) Coil(context.Context, string, bool) (m evaluation.Measured, err error) { return m, err }
func (bench) Complaint(err error) string                                            { return err.Error() }

// A coil whose take is not usable rings three times and counts as such; one that cannot be
// measured counts as none; each other line is a coil of its own.
func TestLotGoesOn(t *testing.T) {
	dir := t.TempDir()
	limits := "schema = \"coilsweep.limits/1\"\n[q]\nmin = \"3\"\n"
	if err := os.WriteFile(filepath.Join(dir, LimitsFile), []byte(limits), 0o666); err != nil {
		t.Fatal(err)
	}
	var said []string
	var rings []int
	var done []Coil
	at := bench{t, map[string]bool{}}
	lot := NewLot("test")
	lot.Done = func(c Coil) error { done = append(done, c); return nil }
	desk := &Desk{In: strings.NewReader("a\n\nlost\n b \nend\nc\n"),
		Say:  func(f string, args ...any) { said = append(said, fmt.Sprintf(f, args...)) },
		Bell: func(n int) { rings = append(rings, n) }}
	tally, err := lot.Run(t.Context(), dir, at, desk)
	if err != nil || tally.String() != "2 coils: 2 not usable" || tally.Unfit() == nil {
		t.Errorf("%v, %v", tally, err)
	}
	if !slices.Equal(rings, []int{3, 3, 3}) || len(done) != 2 || done[1].Serial != "b" ||
		done[0].Line != "not usable: clipped" || at.measured["c"] || !at.measured["b"] {
		t.Errorf("rings %v, done %+v, measured %v", rings, done, at.measured)
	}
	if !slices.Contains(said, "serial lost: the device is gone") {
		t.Errorf("said %q", said)
	}
	// Ctrl-C at the prompt is an end like others.
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := lot.Run(ctx, dir, at, &Desk{In: strings.NewReader(""), Say: desk.Say, Bell: desk.Bell}); err != nil {
		t.Errorf("ended at the prompt: %v", err)
	}
}

func TestCapacitors(t *testing.T) {
	mine := partsfile.Parts{}
	for _, text := range []string{"1n 1%", "180p 2%", "224.5p 0.3% U95", "600p"} {
		c, err := quantity.ParseCapacitance(text)
		if err != nil {
			t.Fatal(err)
		}
		mine.Capacitors = append(mine.Capacitors, c)
	}
	for text, want := range map[string]string{AtHand: "224.5p 0.3% U95; 600p", "1n 1%": "1n 1%", " 220p , 998p 1%": "220p; 998p 1%",
		"220 ohm": "error", "": "error", "470": "error"} {
		list, err := capacitors(text, mine)
		var texts []string
		for _, c := range list {
			texts = append(texts, c.Text)
		}
		if got := strings.Join(texts, "; "); err == nil && got != want || err != nil && want != "error" {
			t.Errorf("%q: %q, %v, want %q", text, got, err, want)
		}
	}
}
