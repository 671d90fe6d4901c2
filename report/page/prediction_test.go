package page

import (
	"bytes"
	"errors"
	"html"
	"strings"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/internal/invented"
)

// predictionDocument is a prediction with all that its page can hold, made up.
func predictionDocument(t testing.TB) PredictionDocument {
	t.Helper()
	p, target := invented.Prediction()
	resonant := invented.ResonantPrediction()
	p.Response = resonant.Response
	p.Positions = nil
	for at := 10.0; at >= 1; at-- {
		p.Positions = append(p.Positions, harness.Position{Volume: &at, Sound: harness.Sound{
			Peak: invented.Quantity(3000+100*at, 60), PeakDB: invented.Quantity(0.4*at, 0.1),
			Q: invented.Quantity(0.8+0.05*at, 0.02), Level: invented.Quantity(at-10, 0.2)}})
	}
	unheard := fit.Unknown("the response falls from the plateau without a peak")
	p.Positions = append(p.Positions, harness.Position{Tone: new(3.0),
		Sound: harness.Sound{Peak: unheard, PeakDB: unheard, Q: unheard, Level: invented.Quantity(-0.2, 0.01)}})
	ohm := func(text string) *quantity.Resistance {
		v, err := quantity.ParseResistance(text)
		if err != nil {
			t.Fatal(err)
		}
		return &v
	}
	return PredictionDocument{Prediction: p, Target: &target, Made: invented.Day, Program: "coilsweep test",
		Coils: invented.Coils(2, 20),
		Harness: harness.Harness{Name: p.Harness, Wiring: "series", Phase: "out",
			Volume:    &harness.Pot{Resistance: ohm("500k 20%"), Position: new(7.0)},
			Amplifier: harness.Amplifier{Resistance: ohm("1M 5%")}}}
}

func predictionPageText(t testing.TB, d PredictionDocument) string {
	t.Helper()
	var b bytes.Buffer
	if err := Prediction(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPrediction(t *testing.T) {
	d := predictionDocument(t)
	page := predictionPageText(t, d)
	selfContained(t, page)
	policyMatches(t, page)
	said := strings.ReplaceAll(html.UnescapeString(page), "\u00a0", " ")
	for _, want := range []string{
		"With these parts, neck and bridge are loudest at 4.14 kHz, 6.4 dB above their level at low frequencies",
		"The cable moves the peak most of all parts: without it the peak would be at 8.54 kHz.",
		"For a peak at 3.2 kHz the cable needs 869 pF: 7.9 m of it.",
		"volume pot 500k: a tolerance of 20 % is assumed", "series, out of phase", "at 7, audio taper", "coil 1",
		"Cable, asked for",
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
	d.Prediction.Assumptions = []string{`<style>*{display:none}</style>`}
	d.Prediction.Warnings = []string{`<style>*{display:block}</style>`}
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
	if strings.Contains(page, "<script") || strings.Contains(page, `id="response"`) ||
		!strings.Contains(page, "the coils cancel") {
		t.Error("coils that cancel have a response, or their reason is not told")
	}
	if err := Prediction(invented.FullDisk{}, d); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}
