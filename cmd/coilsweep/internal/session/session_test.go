package session

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
	"coilsweep/excite/quantity"
)

func TestFolderOf(t *testing.T) {
	for serial, want := range map[string]string{"2026-014": "2026-014", "A/1 b": "A-1-b", "..": "", "../x": "x",
		"Ä": "", "7.": "7", "con": "con"} {
		if got := folderOf(serial); got != want {
			t.Errorf("%q: %q, want %q", serial, got, want)
		}
	}
}

// A coil whose take is not usable rings three times and counts as such; one that cannot be
// measured counts as none; each other line is a coil of its own.
func TestLotGoesOn(t *testing.T) {
	dir := t.TempDir()
	var said []string
	var rings []int
	var done []Coil
	measured := map[string]bool{}
	lot := Lot{Dir: dir, Take: "bare", Complaint: error.Error,
		Measure: func(_ context.Context, dir string, redo bool) error {
			if filepath.Base(dir) == "lost" {
				return errors.New("the device is gone")
			}
			if redo {
				t.Errorf("%s is measured again", dir)
			}
			measured[filepath.Base(dir)] = true
			return &capture.UnfitError{What: "clipped"}
		},
		Done: func(c Coil) error { done = append(done, c); return nil }}
	desk := &Desk{In: strings.NewReader("a\n\nlost\n b \nend\nc\n"),
		Say:  func(f string, args ...any) { said = append(said, fmt.Sprintf(f, args...)) },
		Bell: func(n int) { rings = append(rings, n) }}
	tally, err := lot.Run(t.Context(), desk)
	if err != nil || tally.String() != "2 coils: 2 not usable" || tally.Unfit() == nil {
		t.Errorf("%v, %v", tally, err)
	}
	if !slices.Equal(rings, []int{3, 3, 3}) || len(done) != 2 || done[1].Serial != "b" ||
		done[0].Line != "not usable: clipped" || measured["c"] || !measured["b"] {
		t.Errorf("rings %v, done %+v, measured %v", rings, done, measured)
	}
	if !slices.Contains(said, "serial lost: the device is gone") {
		t.Errorf("said %q", said)
	}
	// A folder that was begun for a serial without a take is no obstacle; Ctrl-C at the
	// prompt is an end like others.
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := lot.Run(ctx, &Desk{In: strings.NewReader(""), Say: desk.Say, Bell: desk.Bell}); err != nil {
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
