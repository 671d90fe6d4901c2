package terminal

import (
	"bytes"
	"errors"
	"testing"

	"coilsweep/fit"
	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func TestAccountGolden(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	a := fit.Account{
		Total: invented.Quantity(175e-12, 1.5e-12), Sum: invented.Quantity(180e-12, 3e-12), En: new(-0.75),
		Unaccounted: invented.Quantity(-5e-12, 3.4e-12), Verdict: "all is accounted for",
		Fixture: &fit.AccountCheck{En: 0.2, Verdict: "cable and input together, 65.0 ± 3.0 pF, agree with the fixture as " +
			"stated with the takes"},
		Warnings: []string{"cable 40p has no tolerance stated: a limit of ±5 % is assumed"},
		Lines: []fit.AccountLine{
			{What: "winding", Farad: invented.Quantity(110e-12, 2.5e-12), Source: "stated: 110p 4%"},
			{What: "cable", Farad: fit.Unknown("what is stated of the rest is as large as all that the takes show"),
				Source: "the fixture as stated, less the input"},
		},
		Added: []fit.AccountLine{{What: "added C 470p 1%", Farad: invented.Quantity(471e-12, 1e-12),
			Source: "stated; as the fit has it"}},
	}
	per := invented.Quantity(98e-12, 1e-12)
	a.PerMetre = &per
	var b bytes.Buffer
	if err := Account(&b, r, a, Options{}); err != nil {
		t.Fatal(err)
	}
	golden.Same(t, "account.txt", b.Bytes())
	if err := Account(invented.FullDisk{}, r, a, Options{}); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}
