package capture

import (
	"testing"

	"coilsweep/capture/tomlkey"
	"coilsweep/excite/quantity"
)

func TestCapacitorLoss(t *testing.T) {
	for text, want := range map[string]struct {
		d, u   float64
		stated bool
	}{
		"470p 1%":            {0.002, 0.003, false},
		"470p 1% C0G":        {0.0003, 0.0003, true},
		"470p NP0":           {0.0003, 0.0003, true},
		"2n2 5% film PP":     {0.0003, 0.0003, true},
		"22n polyester 0.5%": {0.005, 0.004, true},
	} {
		c, err := quantity.ParseCapacitance(text)
		if err != nil {
			t.Fatal(err)
		}
		if d, u, stated := CapacitorLoss(c.Dielectric); d != want.d || u != want.u || stated != want.stated {
			t.Errorf("%q: %g ± %g, stated %v, want %+v", text, d, u, stated, want)
		}
	}
}

// The text of the capacitor comes back as it was typed, dielectric and all.
func TestTakeKeepsDielectric(t *testing.T) {
	c, err := quantity.ParseCapacitance("470p 1% film PP")
	if err != nil {
		t.Fatal(err)
	}
	text, err := EncodeTake(Take{Load: Load{AddedC: &c}})
	if err != nil {
		t.Fatal(err)
	}
	var back Take
	if err := tomlkey.Decode(text, &back); err != nil {
		t.Fatal(err)
	}
	if got := back.Load.AddedC; got == nil || got.String() != "470p 1% film PP" ||
		got.Dielectric != quantity.Polypropylene {
		t.Errorf("read back as %+v", got)
	}
}
