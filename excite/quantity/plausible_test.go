package quantity

import (
	"errors"
	"strings"
	"testing"
)

// Slips of the pen at the bench: what is written, and what was meant.
func TestPlausible(t *testing.T) {
	for _, tt := range []struct{ kind, text, likely string }{
		{"dcr", "7.85", "7.85k"},
		{"dcr", "785", "7.85k"},
		{"dcr", "500k", ""},
		{"dcr", "7.85M 1%", "7.85k"},
		{"fixture-r", "10", "10M"},
		{"fixture-r", "1m", "1M"},
		{"fixture-c", "1F", ""},
		{"fixture-c", "95n", "95p"},
		{"sense-r", "10M", "10"},
		{"volume", "500", "500k"},
		{"tone", "500M", "500k"},
		{"amp", "1m", "1M"},
		{"cable", "470u", "470p"},
		{"added-c", "470u", "470p"},
		{"added-c", "470p || 220u", "220p"},
		{"added-r", "100", "100k"},
		{"exciter-l", "68", "68mH"},
		{"meter-l", "2.4m", "2.4H"},
	} {
		r := Range{}
		for _, r = range ranges {
			if r.Kind == tt.kind {
				break
			}
		}
		v, err := Parse(tt.text, r.Unit)
		if err != nil {
			t.Fatal(err)
		}
		wrong, ok := errors.AsType[*ImplausibleError](Plausible(tt.kind, v))
		if !ok || wrong.Likely != tt.likely || wrong.Range.Kind != tt.kind {
			t.Errorf("%s %s: %v, want one that guesses %q", tt.kind, tt.text, wrong, tt.likely)
			continue
		}
		if meant, err := Parse(wrong.Likely, r.Unit); tt.likely != "" && (err != nil || Plausible(tt.kind, meant) != nil ||
			Unusual(tt.kind, meant) != "") {
			t.Errorf("%s: the guess %q is not one: %v", tt.kind, wrong.Likely, err)
		}
		insisted := strings.ReplaceAll(tt.text, "220u", "220u "+InsistWord)
		if !strings.Contains(insisted, InsistWord) {
			insisted += " " + InsistWord
		}
		if v, err := Parse(insisted, r.Unit); err != nil || Plausible(tt.kind, v) != nil || v.String() != insisted ||
			Unusual(tt.kind, v) == "" {
			t.Errorf("%s %s is not taken: %v, %v", tt.kind, insisted, err, Plausible(tt.kind, v))
		}
	}
	for _, tt := range [][2]string{{"dcr", "1.2k"}, {"fixture-c", "5n"}, {"amp", "100M"}} {
		v := mustParse(t, tt[0], tt[1])
		if Plausible(tt[0], v) != nil || !strings.Contains(Unusual(tt[0], v), "is unusual for") {
			t.Errorf("%v: %v, %q", tt, Plausible(tt[0], v), Unusual(tt[0], v))
		}
	}
	for _, tt := range [][2]string{{"dcr", "7.85k@22C 0.5%"}, {"added-c", "470p 1%"}, {"sense-r", "10"}} {
		v := mustParse(t, tt[0], tt[1])
		if Plausible(tt[0], v) != nil || Unusual(tt[0], v) != "" {
			t.Errorf("%v: %v, %q", tt, Plausible(tt[0], v), Unusual(tt[0], v))
		}
	}
}

func mustParse(t *testing.T, kind, text string) Value {
	t.Helper()
	for _, r := range ranges {
		if r.Kind == kind {
			v, err := Parse(text, r.Unit)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
	}
	t.Fatalf("no range %q", kind)
	return Value{}
}

// The table has an order, a source and one row for each kind and unit.
func TestRanges(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range ranges {
		if !(0 < r.Least && r.Least < r.Low && r.Low < r.High && r.High < r.Most) || r.Source == "" || r.What == "" {
			t.Errorf("%+v", r)
		}
		if key := r.Kind + string(r.Unit); seen[key] {
			t.Errorf("%s stands twice", r.Kind)
		} else {
			seen[key] = true
		}
	}
}

// What stands on a capacitor is no number of farads.
func TestMarking(t *testing.T) {
	for text, want := range map[string]string{"471": "470p", "104": "100n", "223J": "22n", "101K": "100p"} {
		_, err := Parse(text, Farad)
		if err == nil || !strings.Contains(err.Error(), `write "`+want+`"`) {
			t.Errorf("%s: %v, want a hint at %s", text, err, want)
		}
	}
	// 7.85kH is neither an inductance nor a tolerance of 3 %.
	for _, text := range []string{"7.85kH", "785H"} {
		if v, err := Parse(text, Ohm); err == nil {
			t.Errorf("%s is read as %g ohm ± %g", text, v.SI, v.Half)
		}
	}
}
