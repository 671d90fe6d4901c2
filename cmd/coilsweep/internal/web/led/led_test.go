package led

import (
	"strings"
	"testing"
)

// The first take is no louder than what the check found, than the check where there was
// none, and than the bench's own level; later ones are as loud as anybody likes.
func TestCeiling(t *testing.T) {
	for _, tt := range []struct {
		facts Facts
		want  float64
		first bool
	}{
		{Facts{Level: "-12"}, -30, true},
		{Facts{Level: "-12", Check: "unfit", Found: "-40"}, -30, true},
		{Facts{Level: "-12", Check: "done", Found: "-20"}, -20, true},
		{Facts{Level: "-12", Check: "done", Found: "-3"}, -12, true},
		{Facts{Level: "-36"}, -36, true},
		{Facts{Level: "-12", Check: "done", Found: "-20", Bare: true}, 0, false},
	} {
		if got, first := tt.facts.Ceiling(); got != tt.want || first != tt.first {
			t.Errorf("%+v: %g, %v", tt.facts, got, first)
		}
	}
}

// The level of the first take is named as long as it is to be made.
func TestFirstTake(t *testing.T) {
	for _, tt := range []struct {
		facts Facts
		want  string
		level bool
	}{
		{Facts{Coil: true, Level: "-12", Check: "done", Found: "-20"}, "played at −20 dBFS", true},
		{Facts{Coil: true, Level: "-12", Part: true}, "Press Start", false},
		{Facts{Coil: true, Level: "-12", Bare: true}, "It is in.", false},
	} {
		if said := tt.facts.Steps()[3].Text[0]; !strings.Contains(said, tt.want) || strings.Contains(said, "dBFS") != tt.level {
			t.Errorf("%+v: %q", tt.facts, said)
		}
	}
}

// Each step has a picture, cautions and something to do; the next one is the first that
// is not done.
func TestSteps(t *testing.T) {
	for want, facts := range []Facts{
		{}, {Bench: true, Check: "unfit"}, {Bench: true, Check: "done", Coil: true},
		3: {Bench: true, Check: "done", Coil: true, Part: true},
		4: {Bench: true, Check: "done", Coil: true, Bare: true},
		5: {Bench: true, Check: "done", Coil: true, Bare: true, Part: true},
	} {
		steps := facts.Steps()
		if got := Where(steps, ""); got != want {
			t.Errorf("%+v: at %d, want %d", facts, got, want)
		}
		for i, s := range steps {
			if s.Picture == "" || s.Alt == "" || len(s.Cautions) == 0 || len(s.Do) == 0 {
				t.Errorf("step %s lacks something: %+v", s.At, s)
			}
			if !strings.Contains(string(Panel(steps, i)), s.Name) {
				t.Errorf("step %s is not shown", s.At)
			}
		}
	}
}
