package evaluation_test

import (
	"math"
	"slices"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/fit"
)

// A current source is assumed of an exciter that is none: with a loop-back reference,
// which leaves the sound card nothing to be blamed for, its fall would shift Q of the
// coil alone. U95 covers it, with its part in the budget; stating the voltage drive
// takes it away.
func TestAssumedDrive(t *testing.T) {
	coil := capture.Coil{Schema: "coilsweep.coil/1", Name: "invented", DCR: ohms(t, "7.85k@20C 0.5%")}
	assumed := capture.Drive{Kind: "current", Assumed: true}
	stated := capture.Drive{Kind: "voltage", ExciterR: ohms(t, "256.9 1%"), ExciterL: henries(t, "68uH")}
	const much = 2.0 // per cent of u²
	for _, c := range []struct {
		name   string
		henry  float64
		drive  capture.Drive
		source bool
	}{{"68 µH assumed", 68e-6, assumed, true}, {"68 µH stated", 68e-6, stated, false},
		{"250 µH assumed", 250e-6, assumed, true}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := virtual.Default()
			b.Exciter.Inductance.SI = c.henry
			b.Exciter.Mutual.SI *= math.Sqrt(c.henry / 68e-6)
			b.Reference = virtual.Reference{Kind: "loopback", FullScaleV: 3}
			alone := b
			alone.Fixture = virtual.Fixture{}
			truth, err := alone.Truth(capture.Load{}, 11)
			if err != nil {
				t.Fatal(err)
			}
			all := recordBenchAs(t, simulated{b}, 6, 2.8, func(take *capture.Take) {
				take.Reference.Kind, take.Drive = "loopback", c.drive
			})
			r := all.estimated(t).fit(t, coil)
			covers := func(what string, q fit.Quantity, truth float64) {
				t.Helper()
				if !q.Known() || math.Abs(q.Value-truth) > q.U95 {
					t.Errorf("%s is %.6g ± %.2g (%s), truly %.6g", what, q.Value, q.U95, q.Why, truth)
				}
				t.Logf("%s %.6g ± %.2g, truly %.6g", what, q.Value, q.U95, truth)
			}
			covers("Q of the coil alone", r.BareQ, truth.Q)
			covers("resonance of the coil alone", r.BareResonance, truth.ResonanceHz)
			covers("L", r.Inductance, truth.InductanceH)
			for i, take := range r.Takes {
				covers("Q", take.Q, all[i].truth.Q)
				covers("resonance", take.Resonance, all[i].truth.ResonanceHz)
			}
			at := slices.IndexFunc(r.Budget, func(b fit.Budget) bool { return b.Quantity == "bare_q" })
			named := slices.ContainsFunc(r.Budget[at].Shares, func(l fit.BudgetLine) bool {
				return l.Source == "drive of the exciter" && l.Percent > much
			})
			if named != c.source {
				t.Errorf("budget of Q of the coil alone: %+v", r.Budget[at].Shares)
			}
		})
	}
}
