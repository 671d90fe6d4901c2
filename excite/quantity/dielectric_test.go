package quantity

import (
	"errors"
	"strings"
	"testing"
)

// A dielectric stands after the value, beside its tolerance or without one.
func TestDielectric(t *testing.T) {
	for _, c := range []struct {
		text string
		si   float64
		half float64
		want Dielectric
	}{
		{"470p", 470e-12, 0, UnstatedDielectric},
		{"470p 1% C0G", 470e-12, 4.7e-12, C0G},
		{"470p C0G 1%", 470e-12, 4.7e-12, C0G},
		{"470p cog", 470e-12, 0, C0G},
		{"470p,1%,NP0", 470e-12, 4.7e-12, C0G},
		{"470pJ NPO", 470e-12, 23.5e-12, C0G},
		{"470p C", 470e-12, 470e-12 * 0.0025, UnstatedDielectric}, // the tolerance letter
		{"470p C C0G", 470e-12, 470e-12 * 0.0025, C0G},
		{"2n2 5% PP", 2.2e-9, 0.11e-9, Polypropylene},
		{"2n2 ±110p film PP", 2.2e-9, 0.11e-9, Polypropylene},
		{"2n2 film  polypropylene", 2.2e-9, 0, Polypropylene},
		{"22n 0.3% U95 polyester", 22e-9, 0.066e-9, Polyester},
		{"22n Film PET 10%", 22e-9, 2.2e-9, Polyester},
		{"470p 1% + 3 digits C0G", 470e-12, 4.7e-12 + 3e-12, C0G},
	} {
		v, err := Parse(c.text, Farad)
		if err != nil {
			t.Error(err)
			continue
		}
		if d := v.Half - c.half; v.SI != c.si || v.Dielectric != c.want || d > 1e-18 || d < -1e-18 ||
			v.String() != c.text {
			t.Errorf("Parse(%q) = %+v, want %g ± %g %s", c.text, v, c.si, c.half, c.want)
		}
		checkRoundTrip(t, v)
	}
}

func TestDielectricRefused(t *testing.T) {
	for _, c := range []struct {
		text string
		unit Unit
		want string
	}{
		{"470p 1% X7R", Farad, `"X7R" is not understood; of dielectrics, C0G (NP0), PP or polyester can be stated`},
		{"470p mica", Farad, `"mica" is not understood`},
		{"470p film", Farad, "film of what?"},
		{"470p film C0G", Farad, "film of what?"},
		{"470p C0G PP", Farad, `"PP" is not understood after the dielectric`},
		{"470p C0G C0G", Farad, "after the dielectric"},
		{"470pC0G", Farad, "not understood"},
		{"470p C0G1%", Farad, `"C0G1%" is not understood`},
		{"C0G", Farad, "does not begin with a number"},
		{"100k 1% PP", Ohm, "not understood after the tolerance"},
		{"2.4H C0G", Henry, "not understood as a tolerance"},
	} {
		v, err := Parse(c.text, c.unit)
		var wrong *ParseError
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("Parse(%q) = %+v, %v, want %q", c.text, v, err, c.want)
		}
	}
}
