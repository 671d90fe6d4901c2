package virtual

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"coilsweep/capture"
)

// A constant phase is C (s/w1)^-p with p = (2/pi) delta, by its definition: the
// chain of relaxations keeps the loss within 0.6 % of that from 10 Hz to 100 kHz,
// and the capacitance within 0.006 of the loss.
func TestDielectricHasConstantPhase(t *testing.T) {
	const farad = 110e-12
	for _, d := range []float64{0.0003, 0.003, 0.015, 0.05, 0.1} {
		instant, late := dielectric(farad, d)
		if !(instant > 0) {
			t.Errorf("loss %g: %g F at once", d, instant)
		}
		worstLoss, worstC := 0.0, 0.0
		for hz := 10.0; hz < 1.001e5; hz *= 1.05 {
			s := complex(0, 2*math.Pi*hz)
			c := complex(instant, 0)
			for _, r := range late {
				c += complex(r.farad, 0) / (1 + s*complex(r.ohm*r.farad, 0))
			}
			want := cmplx.Rect(farad/math.Cos(math.Atan(d))*math.Pow(hz/statedHz, -2/math.Pi*math.Atan(d)),
				-math.Atan(d))
			worstLoss = max(worstLoss, math.Abs(-imag(c)/real(c)/d-1))
			worstC = max(worstC, math.Abs(real(c)/real(want)-1))
		}
		t.Logf("loss %g: within %.2f %%, capacitance within %.4f %%", d, 100*worstLoss, 100*worstC)
		if worstLoss > 0.006 || worstC > 0.006*d {
			t.Errorf("loss %g: off by %.2f %%, capacitance by %.4f %%", d, 100*worstLoss, 100*worstC)
		}
	}
	if instant, late := dielectric(farad, 0); instant != farad || late != nil {
		t.Errorf("without loss: %g F and %d relaxations", instant, len(late))
	}
}

// With a lossy winding and a lossy added capacitor the response is that of a coil
// with two elements of constant phase, by the divider of the coil's branch and all
// across it; without the loss it is another by far more.
func TestLossInResponse(t *testing.T) {
	const henry, coilOhm, winding, cable, input, added = 2.2, 6000.0, 120e-12, 70e-12, 1e6, 470e-12
	constantPhase := func(farad, d, hz float64) complex128 {
		delta := math.Atan(d)
		return cmplx.Rect(2*math.Pi*hz*farad/math.Cos(delta)*math.Pow(hz/statedHz, -2/math.Pi*delta), math.Pi/2-delta)
	}
	c := faradOf(added)
	for _, loss := range []struct{ winding, added float64 }{{0, 0}, {0.015, 0}, {0, 0.006}, {0.01, 0.003}} {
		b := plainCoil(henry, coilOhm, winding, cable, input)
		b.Coil.WindingLoss, b.Added.CLoss = loss.winding, loss.added
		truth, err := b.Truth(capture.Load{AddedC: &c}, 1)
		if err != nil {
			t.Fatal(err)
		}
		if want := winding + cable + added; math.Abs(truth.CapacitanceF/want-1) > 1e-12 {
			t.Errorf("all capacitance is %g, want %g", truth.CapacitanceF, want)
		}
		worst, without := 0.0, 0.0
		for hz := 20.0; hz < 20000; hz *= 1.02 {
			transfer := func(dWinding, dAdded float64) complex128 {
				y := complex(1/input, 2*math.Pi*hz*cable) + constantPhase(winding, dWinding, hz) +
					constantPhase(added, dAdded, hz)
				return 1 / (1 + complex(coilOhm, 2*math.Pi*hz*henry)*y)
			}
			got := truth.Transfer(hz)
			worst = max(worst, cmplx.Abs(got/transfer(loss.winding, loss.added)-1))
			without = max(without, cmplx.Abs(got/transfer(0, 0)-1))
		}
		t.Logf("winding %g, added %g: off by %.2g, from the circuit without loss by %.2g", loss.winding,
			loss.added, worst, without)
		if worst > 1e-4 || loss.winding+loss.added > 0 && without < 100*worst {
			t.Errorf("winding %g, added %g: off by %g, from the circuit without loss by %g", loss.winding,
				loss.added, worst, without)
		}
	}
}

// A loss that no capacitor has, and a misspelt one, are refused with their place.
func TestLossRefused(t *testing.T) {
	for text, want := range map[string]string{
		"winding_loss = 0.5":                          "coil.winding_loss: 0.5 is outside 0 … 0.1",
		"winding_loss = -0.01":                        "coil.winding_loss: -0.01 is outside",
		"winding_loss = nan":                          "coil.winding_loss: NaN is outside",
		"winding_losses = 0.01":                       "coil.winding_losses: is not a key of a simulated bench",
		"winding_loss = 0.01\n[added]\nc_loss = 0.2":  "added.c_loss: 0.2 is outside",
		"winding_loss = 0.01\n[added]\nc_loss = 0.05": "",
	} {
		bench := strings.Replace(DefaultText(), "winding_c = \"110p\"",
			"winding_c = \"110p\"\n"+strings.SplitN(text, "\n", 2)[0], 1)
		if _, more, ok := strings.Cut(text, "\n"); ok {
			bench += "\n" + more
		}
		if _, err := Decode("bench.toml", []byte(bench)); (err == nil) != (want == "") || err != nil &&
			!strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
