package report

import (
	"bytes"
	"errors"
	"html"
	"strings"
	"testing"

	"coilsweep/excite/quantity"
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
	if err := WritePredictionCSV(&b, p, CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	golden(t, "prediction.csv", b.Bytes())
	b.Reset()
	if err := WritePredictionCSV(&b, p, CSVOptions{DecimalComma: true}); err != nil || !strings.Contains(b.String(), "\n1000;0,50000;0,0196\n") {
		t.Errorf("with a decimal comma: %q, %v", b.String(), err)
	}
	for name, err := range map[string]error{"table": Prediction(fullDisk{}, p, nil, TableOptions{}), "CSV": WritePredictionCSV(fullDisk{}, p, CSVOptions{})} {
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

// predictionDocument is a prediction with all that its page can hold, made up.
func predictionDocument(t testing.TB) PredictionDocument {
	t.Helper()
	p, target := inventedPrediction()
	resonant := resonantPrediction()
	p.Response = resonant.Response
	p.Positions = nil
	for at := 10.0; at >= 1; at-- {
		p.Positions = append(p.Positions, harness.Position{Volume: &at, Sound: harness.Sound{
			Peak: invented(3000+100*at, 60), PeakDB: invented(0.4*at, 0.1), Q: invented(0.8+0.05*at, 0.02), Level: invented(at-10, 0.2)}})
	}
	unheard := fit.Unknown("the response falls from the plateau without a peak")
	p.Positions = append(p.Positions, harness.Position{Tone: new(3.0), Sound: harness.Sound{Peak: unheard, PeakDB: unheard, Q: unheard, Level: invented(-0.2, 0.01)}})
	ohm := func(text string) *quantity.Resistance {
		v, err := quantity.ParseResistance(text)
		if err != nil {
			t.Fatal(err)
		}
		return &v
	}
	return PredictionDocument{Prediction: p, Target: &target, Made: invented2026, Program: "coilsweep test", Coils: inventedCoils(2, 20),
		Harness: harness.Harness{Name: p.Harness, Wiring: "series", Phase: "out", Volume: &harness.Pot{Resistance: ohm("500k 20%"), Position: new(7.0)},
			Amplifier: harness.Amplifier{Resistance: ohm("1M 5%")}}}
}

func predictionPageText(t testing.TB, d PredictionDocument) string {
	t.Helper()
	var b bytes.Buffer
	if err := PredictionPage(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPredictionPage(t *testing.T) {
	d := predictionDocument(t)
	page := predictionPageText(t, d)
	selfContained(t, page)
	policyMatches(t, page)
	said := strings.ReplaceAll(html.UnescapeString(page), "\u00a0", " ")
	for _, want := range []string{
		"With these parts, neck and bridge are loudest at 4.14 kHz, 6.4 dB above their level at low frequencies",
		"Of all parts the cable moves the peak most: without it, it would lie at 8.54 kHz.",
		"For a peak at 3.2 kHz, the cable has to have 869 pF, which is 7.9 m of it.",
		"volume pot 500k: a tolerance of 20 % is assumed", "series, out of phase", "at 7, log", "coil 1", "Cable, asked for",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	// Peak and height over the volume knob; one position of tone is no curve.
	if n := strings.Count(page, "<figcaption>"); n != 2 {
		t.Errorf("%d small figures, want 2", n)
	}

	d.Prediction.Harness = `</script><img src=x onerror=alert(1)>` + "\u202e"
	d.Prediction.Warnings = []string{`<style>*{display:none}</style>`}
	d.Coils[1].Folder = `" onmouseover="alert(3)`
	page = predictionPageText(t, d)
	selfContained(t, page)
	if strings.Contains(page, "\u202e") || strings.Contains(page, "<style>*") {
		t.Error("a name stands unescaped in the page")
	}

	// Where nothing reaches the amplifier there is no figure, and no script.
	cancelled := harness.Prediction{Coils: []string{"one", "two"}}
	none := fit.Unknown("nothing reaches the amplifier: the coils cancel")
	cancelled.Peak, cancelled.PeakDB, cancelled.Q, cancelled.Level = none, none, none, none
	page = predictionPageText(t, PredictionDocument{Prediction: cancelled})
	if strings.Contains(page, "<script") || strings.Contains(page, `id="response"`) || !strings.Contains(page, "the coils cancel") {
		t.Error("coils that cancel have a response, or their reason is not told")
	}
	if err := PredictionPage(fullDisk{}, d); !errors.Is(err, errFull) {
		t.Errorf("got error %v, want %v", err, errFull)
	}
}
