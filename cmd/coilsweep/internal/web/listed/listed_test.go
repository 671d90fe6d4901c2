package listed

import (
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit/evaluation"
	"coilsweep/report/words"
)

// Lines take all that somebody wrote for text.
func TestLinesEscape(t *testing.T) {
	const harm = `<img src=x onerror=alert(1)>"'` + "\u202e"
	lines, _ := Lines([]Coil{{State: harm,
		Listed: words.Listed{Known: evaluation.Known{Folder: harm, Flags: []string{harm},
			CoilHeading: capture.CoilHeading{Coil: harm, Serial: harm}}}}})
	if len(lines) != 1 {
		t.Fatalf("%d lines", len(lines))
	}
	if row := string(lines[0].Row); strings.Contains(row, "<img") || strings.Contains(row, `"'`) {
		t.Errorf("row: %s", row)
	}
}

// A page is told what has changed since the revision that it names, whoever asked meanwhile.
func TestSince(t *testing.T) {
	var told Told
	a1, a2, b := Line{Coil: "a", Label: "1"}, Line{Coil: "a", Label: "2"}, Line{Coil: "b"}
	first := told.Since("", []Line{a1, b})
	if !first.Whole || len(first.Lines) != 2 || len(first.Coils) != 2 {
		t.Errorf("first: %+v", first)
	}
	other := told.Since(first.Revision, []Line{a2, b})
	if other.Whole || len(other.Lines) != 1 || other.Lines[0] != a2 || other.Coils != nil {
		t.Errorf("one changed: %+v", other)
	}
	for since, want := range map[string]int{first.Revision: 1, other.Revision: 0} {
		if got := told.Since(since, []Line{a2, b}); got.Whole || len(got.Lines) != want || got.Revision != other.Revision {
			t.Errorf("since %s: %+v", since, got)
		}
	}
	turned := told.Since(other.Revision, []Line{b, a2})
	if turned.Whole || len(turned.Lines) != 0 || len(turned.Coils) != 2 || turned.Coils[0] != "b" {
		t.Errorf("in another order: %+v", turned)
	}
	if gone := told.Since(first.Revision, []Line{b}); len(gone.Coils) != 1 || len(gone.Lines) != 0 {
		t.Errorf("one is gone: %+v", gone)
	}
	if got := new(Told).Since(other.Revision, []Line{a2}); !got.Whole {
		t.Errorf("after another start: %+v", got)
	}
}
