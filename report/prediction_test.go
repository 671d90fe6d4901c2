package report

import (
	"bytes"
	"errors"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/harness"
)

// inventedPrediction is a coil in a guitar: made-up numbers.
func inventedPrediction() (harness.Prediction, harness.Solution) {
	sound := func(hz, db, q, level float64) harness.Sound {
		return harness.Sound{Peak: invented(hz, 0.02*hz), PeakDB: invented(db, 0.3), Q: invented(q, 0.05*q), Level: invented(level, 0.01)}
	}
	p := harness.Prediction{Harness: "an invented guitar", Coils: []string{"neck", "bridge"}, Sound: sound(4140, 6.37, 2.0, -0.2),
		Warnings: []string{"volume pot 500k: a tolerance of 20 % is assumed"}}
	for _, at := range []float64{10, 5} {
		p.Positions = append(p.Positions, harness.Position{Volume: &at, Sound: sound(4140*at/10, 6, 2, -0.2)})
	}
	quiet := sound(570, 2.76, 1.26, -0.2)
	quiet.Peak, quiet.PeakDB = fit.Unknown("the response falls from the plateau without a peak"), fit.Unknown("the response falls from the plateau without a peak")
	p.Positions = append(p.Positions, harness.Position{Tone: new(3.0), Sound: quiet})
	p.Without = []harness.Removal{{Part: "cable", Sound: sound(8540, 2.3, 1.2, -0.2)}, {Part: "tone control", Sound: quiet}}
	p.Response = []harness.Point{{FrequencyHz: 1000, LevelDB: invented(0.5, 0.01)}, {FrequencyHz: 2000, LevelDB: fit.Unknown("undetermined")}}
	return p, harness.Solution{Part: harness.CableC, TargetHz: 3200, Farad: invented(869e-12, 6e-12), LengthM: new(7.9)}
}

func TestPredictionGolden(t *testing.T) {
	p, target := inventedPrediction()
	var b bytes.Buffer
	if err := Prediction(&b, p, &target, TableOptions{}); err != nil {
		t.Fatal(err)
	}
	golden(t, "prediction.txt", b.Bytes())
	b.Reset()
	if err := WritePredictionCSV(&b, p); err != nil {
		t.Fatal(err)
	}
	golden(t, "prediction.csv", b.Bytes())
	for name, err := range map[string]error{"table": Prediction(fullDisk{}, p, nil, TableOptions{}), "CSV": WritePredictionCSV(fullDisk{}, p)} {
		if !errors.Is(err, errFull) {
			t.Errorf("%s: got error %v, want %v", name, err, errFull)
		}
	}
}

func TestAccountGolden(t *testing.T) {
	r := inventedResult(threeLoads, 20)
	a := fit.Account{
		Total: invented(175e-12, 1.5e-12), Sum: invented(180e-12, 3e-12), En: new(0.75),
		Verdict: "the sum of what is stated, 180.0 ± 5.9 pF, agrees with what the takes show",
		Lines: []fit.AccountLine{
			{What: "winding", Farad: invented(110e-12, 2.5e-12), Source: "stated: 110p 4%"},
			{What: "cable", Farad: fit.Unknown("what is stated of the rest is as large as all that the takes show"), Source: "the fixture as stated, less the input"},
		},
		Added: []fit.AccountLine{{What: "added C 470p 1%", Farad: invented(471e-12, 1e-12), Source: "stated; as the fit has it"}},
	}
	per := invented(98e-12, 1e-12)
	a.PerMetre = &per
	var b bytes.Buffer
	if err := Account(&b, r, a, TableOptions{}); err != nil {
		t.Fatal(err)
	}
	golden(t, "account.txt", b.Bytes())
	if err := Account(fullDisk{}, r, a, TableOptions{}); !errors.Is(err, errFull) {
		t.Errorf("got error %v, want %v", err, errFull)
	}
	b.Reset()
	if err := WriteLine(&b, r); err != nil || !bytes.Contains(b.Bytes(), []byte("<svg")) || !bytes.Contains(b.Bytes(), []byte("−C")) {
		t.Errorf("line: %v, %d bytes", err, b.Len())
	}
	if err := WriteLine(&b, loneTake()); !errors.Is(err, ErrNoLine) {
		t.Errorf("line of one take: %v", err)
	}
}
