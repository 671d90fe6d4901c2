package joint

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// meterTakes are three takes of a coil with known parts and fixture.
func meterTakes(c trueCoil) []Take {
	b := bench{coil: c, snrDB: 70, seed: 5}
	var loads []load
	for _, added := range []string{"", "470p 1%", "1n 1%"} {
		loads = append(loads, load{addedC: added, fixtureC: "65p 5%", fixtureR: "1M 1%"})
	}
	return b.takes(loads...)
}

// crosscheck fits the takes of a coil and compares the readings.
func crosscheck(t *testing.T, takes []Take, coil capture.Coil) []fit.MeterResult {
	t.Helper()
	r, err := Analyse(context.Background(), coil, takes, fit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r.Meter
}

// What meters show of three coils without iron: computed by ngspice-39 from
// the netlists beside the table.
func TestMeterAgainstNgspice(t *testing.T) {
	coils := map[string]trueCoil{
		"a": {henry: 2.2, ohm: 6000, farad: 120e-12},
		"b": {henry: 4.4, ohm: 8200, farad: 100e-12},
		"c": {henry: 8, ohm: 15000, farad: 180e-12},
	}
	f, err := os.Open("../../testdata/spice/meter.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table := csv.NewReader(f)
	table.Comment = '#'
	rows, err := table.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	readings := map[string][]capture.MeterReading{}
	for _, row := range rows[1:] {
		hz, _ := strconv.ParseFloat(row[1], 64)
		for i, m := range []capture.MeterReading{
			{What: "L", Mode: "series"}, {What: "R", Mode: "series"}, {What: "L", Mode: "parallel"},
			{What: "R", Mode: "parallel"}, {What: "Q"}, {What: "D"},
		} {
			m.AtHz, m.Reading = hz, row[4+i]+map[string]string{"L": "H", "R": "ohm"}[m.What]+" 0.5%"
			readings[row[0]] = append(readings[row[0]], m)
		}
	}
	for name, c := range coils {
		celsius := 22.0
		for i := range readings[name] {
			readings[name][i].Celsius = &celsius
		}
		results := crosscheck(t, meterTakes(c),
			capture.Coil{Name: name, Meter: readings[name], CelsiusAtTakes: &celsius})
		if len(results) != 24 {
			t.Fatalf("coil %s: %d results, want 24", name, len(results))
		}
		for _, m := range results {
			what := fmt.Sprintf("coil %s: %s at %g Hz, %s", name, m.What, m.AtHz, m.Mode)
			if name == "a" && m.AtHz == 1e4 { // 2 % from its own resonance of 9795 Hz
				if m.Expected.Known() || !strings.Contains(m.Expected.Why, "self-resonance is at about 9.8") {
					t.Errorf("%s is %+v, want it unknown so near to the coil's resonance", what, m.Expected)
				}
				continue
			}
			if !m.Expected.Known() {
				// So little of it is left that the takes do not tell it.
				if m.AtHz < 1e4 || m.What == "L" {
					t.Errorf("%s is not known: %s", what, m.Expected.Why)
				}
				continue
			}
			if d := math.Abs(m.Expected.Value - m.Reading); d > 1.5*m.Expected.U95 {
				t.Errorf("%s: %g ± %g, ngspice %g", what, m.Expected.Value, m.Expected.U95, m.Reading)
			}
			if m.En == nil || math.Abs(*m.En) > 1 || m.Verdict != "agrees" {
				t.Errorf("%s: verdict %q", what, m.Verdict)
			}
			if m.AtHz == 1000 && m.What == "L" && m.Expected.U95 > 0.015*m.Expected.Value {
				t.Errorf("%s: U95 of %g is more than capacitors of 1 %% give", what, m.Expected.U95)
			}
		}
	}
}

// impedance is that of the bare coil, from its meshes.
func (c trueCoil) impedance(hz float64) complex128 {
	s := complex(0, 2*math.Pi*hz)
	z := complex(c.ohm, 0) + s*complex(c.henry, 0)
	for _, r := range c.rings {
		m := s * complex(r.mutual, 0)
		z -= m * m / (complex(r.ohm, 0) + s*complex(r.henry, 0))
	}
	return z / (1 + z*s*complex(c.farad, 0))
}

func meterL(text string, hz float64) capture.MeterReading {
	return capture.MeterReading{What: "L", Reading: text, AtHz: hz, Mode: "series"}
}

// With eddy currents, from the meshes of the coil; and the parts of the
// difference: they lead from L to the reading, the rings down, the coil's own
// capacitance up.
func TestMeterOfRingedCoil(t *testing.T) {
	c := demoCoil()
	seriesL := func(hz float64) float64 { return imag(c.impedance(hz)) / (2 * math.Pi * hz) }
	var readings []capture.MeterReading
	for _, hz := range []float64{120, 1000, 5000} {
		readings = append(readings, meterL(fmt.Sprintf("%.5fH 0.3%% + 2 digits", seriesL(hz)), hz))
	}
	for _, m := range crosscheck(t, meterTakes(c), capture.Coil{Meter: readings}) {
		if m.Verdict != "agrees" {
			t.Errorf("at %g Hz: %g against %+v: %s", m.AtHz, m.Reading, m.Expected, m.Verdict)
		}
		product := m.Explanation.From
		effects := map[string]float64{}
		for _, e := range m.Explanation.Effects {
			product *= 1 + e.Percent/100
			effects[e.What] = e.Percent
		}
		if math.Abs(product/m.Expected.Value-1) > 2e-4 {
			t.Errorf("at %g Hz the effects lead to %g, not to %g", m.AtHz, product, m.Expected.Value)
		}
		if m.AtHz < 1000 {
			continue
		}
		ringless := trueCoil{henry: c.henry, ohm: c.ohm, rings: c.rings}
		rings := 100 * (imag(ringless.impedance(m.AtHz))/(2*math.Pi*m.AtHz*c.henry) - 1)
		own := 100 * (seriesL(m.AtHz)/imag(ringless.impedance(m.AtHz))*2*math.Pi*m.AtHz - 1)
		if math.Abs(effects["eddy currents"]-rings) > 0.2 || math.Abs(effects["self-capacitance"]-own) > 0.1*own+0.1 {
			t.Errorf("at %g Hz effects %v, want eddy currents %.2f %%, self-capacitance %.2f %%", m.AtHz, effects,
				rings, own)
		}
	}
}

// Readings that are wrong on purpose are found, and the cause is named.
func TestMeterCauses(t *testing.T) {
	c := demoCoil()
	w := func(hz float64) float64 { return 2 * math.Pi * hz }
	z120, z1k := c.impedance(120), c.impedance(1000)
	series1k := imag(z1k) / w(1000)
	parallel120 := -1 / (w(120) * imag(1/z120))
	withCable := c
	withCable.farad += 65e-12
	series5kCable := imag(withCable.impedance(5000)) / w(5000)
	tests := []struct {
		name    string
		reading capture.MeterReading
		cause   string
	}{
		{"L 8 % high", meterL(fmt.Sprintf("%.4fH 0.5%%", 1.08*series1k), 1000),
			"the meter would be right if each were 0.92"},
		{"parallel instead of series", meterL(fmt.Sprintf("%.4fH 0.5%%", parallel120), 120),
			"the meter was in parallel mode"},
		{"1 kHz instead of 5 kHz", meterL(fmt.Sprintf("%.4fH 0.5%%", series1k), 5000),
			"the meter's test frequency was 1.00 kHz"},
		{"cable left on", meterL(fmt.Sprintf("%.4fH 0.5%%", series5kCable), 5000),
			"65 pF, were still connected across the coil"},
		{"Q too low", capture.MeterReading{What: "Q", Reading: fmt.Sprintf("%.4f 1%%", 0.8*imag(z1k)/real(z1k)),
			AtHz: 1000}, "a shorted turn"},
		{"Q too high", capture.MeterReading{What: "Q", Reading: fmt.Sprintf("%.4f 1%%", 1.25*imag(z1k)/real(z1k)),
			AtHz: 1000}, "an input that loads"},
		{"R of a warm coil", capture.MeterReading{What: "R", Reading: fmt.Sprintf("%.1fohm 0.1%%", 1.08*real(z120)),
			AtHz: 120}, "K warmer"},
	}
	var coil capture.Coil
	for _, tt := range tests {
		coil.Meter = append(coil.Meter, tt.reading)
	}
	results := crosscheck(t, meterTakes(c), coil)
	for i, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := results[i]
			if m.En == nil || math.Abs(*m.En) <= 1 || !strings.HasPrefix(m.Verdict, "does not agree") {
				t.Fatalf("%g against %+v: verdict %q", m.Reading, m.Expected, m.Verdict)
			}
			if !strings.Contains(strings.Join(m.Explanation.Causes, "\n"), tt.cause) {
				t.Errorf("no %q among the causes %q", tt.cause, m.Explanation.Causes)
			}
		})
	}
}

// What cannot be scored is not, and says why.
func TestMeterNotScored(t *testing.T) {
	c := demoCoil()
	takes := meterTakes(c)
	l := fmt.Sprintf("%.3fH", imag(c.impedance(1000))/(2*math.Pi*1000))
	used := meterL(l+" 1%", 1000)
	used.UseInFit = true
	for _, tt := range []struct {
		reading capture.MeterReading
		verdict string
	}{
		{used, "the reading is part of the fit"},
		{meterL(l, 1000), "the meter's accuracy is not stated"},
		{meterL("2.4H 1%", 9800), "what the meter should show is not known"},
	} {
		m := crosscheck(t, takes, capture.Coil{Meter: []capture.MeterReading{tt.reading}})[0]
		if m.En != nil || !strings.HasPrefix(m.Verdict, "not scored: "+tt.verdict) {
			t.Errorf("verdict %q with En %v, want it not scored: %s", m.Verdict, m.En, tt.verdict)
		}
	}
}

// Outside the sweep U95 is widened, by more than the fit itself says, and so
// that it covers what the meshes give.
func TestMeterBeyondTheSweep(t *testing.T) {
	c := demoCoil()
	m := crosscheck(t, meterTakes(c), capture.Coil{Meter: []capture.MeterReading{
		{What: "C", Reading: "107p 3%", AtHz: 100e3, Mode: "parallel"},
		{What: "Q", Reading: "-20 10%", AtHz: 100e3},
	}})
	hz := 100e3
	truth := imag(1/c.impedance(hz)) / (2 * math.Pi * hz)
	if d := math.Abs(m[0].Expected.Value - truth); !m[0].Expected.Known() || d > m[0].Expected.U95 {
		t.Errorf("C at 100 kHz: %+v, want %g", m[0].Expected, truth)
	}
	if notes := strings.Join(m[0].Explanation.Notes, "\n"); !strings.Contains(notes,
		"outside the sweep (21 Hz to 20 kHz)") {
		t.Errorf("notes %q", notes)
	}
	// A tan delta of 0 to 0.03 in the winding makes any Q from here to 33.
	if q := m[1].Expected; q.Known() && q.U95 < 0.15*math.Abs(q.Value) {
		t.Errorf("Q at 100 kHz is claimed to be known: %+v", q)
	}
}

// Without the fixture's capacitance the coil's own lies anywhere below all:
// at 1 kHz that matters little, at 6 kHz it decides.
func TestMeterWithoutFixture(t *testing.T) {
	c := demoCoil()
	takes := meterTakes(c)
	for i := range takes {
		takes[i].Load.FixtureC = nil
	}
	l := func(hz float64) float64 { return imag(c.impedance(hz)) / (2 * math.Pi * hz) }
	m := crosscheck(t, takes, capture.Coil{Meter: []capture.MeterReading{
		meterL(fmt.Sprintf("%.3fH 0.3%%", l(1000)), 1000), meterL(fmt.Sprintf("%.3fH 0.3%%", l(6000)), 6000),
	}})
	if m[0].Verdict != "agrees" ||
		!strings.Contains(strings.Join(m[0].Explanation.Notes, "\n"), "the fixture's capacitance is not known") {
		t.Errorf("at 1 kHz: %+v, %q", m[0], m[0].Explanation.Notes)
	}
	if m[1].Expected.Known() && m[1].Expected.U95 < 0.2*m[1].Expected.Value {
		t.Errorf("at 6 kHz: %+v is claimed to be known", m[1].Expected)
	}
}

// The DC resistance is part of the fit; what the takes say without it agrees
// with the truth, carried to the temperature of the reading by IEC 60028.
func TestMeterDirectResistance(t *testing.T) {
	takes := meterTakes(trueCoil{henry: 2.2, ohm: 6000, farad: 120e-12}) // 6000 ohm during the takes
	celsius := 30.0
	for _, tt := range []struct {
		dcr     string
		word    string
		verdict string
	}{
		{"5.773k@20C 0.5%", "the two agree", "not scored: the reading is part of the fit"}, // 6000 ohm/1.0393
		{"5.1k@20C 0.5%", "the two do not agree",
			"not scored: the takes contradict the reading, and it was left out of the fit"},
	} {
		v, err := quantity.ParseResistance(tt.dcr)
		if err != nil {
			t.Fatal(err)
		}
		m := crosscheck(t, takes, capture.Coil{DCR: &v, CelsiusAtTakes: &celsius})[0]
		if m.Mode != "DC" || m.En != nil || m.Verdict != tt.verdict {
			t.Errorf("%+v", m)
		}
		if len(m.Explanation.Effects) != 1 || math.Abs(m.Explanation.Effects[0].Percent-100*(1/1.0393-1)) > 1e-9 {
			t.Errorf("effects %+v", m.Explanation.Effects)
		}
		if notes := strings.Join(m.Explanation.Notes, "\n"); !strings.Contains(notes, tt.word) {
			t.Errorf("DCR %s: notes %q", tt.dcr, notes)
		}
	}
}

// Two independent estimates a ± u and b ± v meet in the weighted mean; taking
// b out again leaves a.
func TestWithout(t *testing.T) {
	const a, u, b, v = 9.0, 0.02, 9.1, 0.01
	wa, wb := 1/(u*u), 1/(v*v)
	rest, restU, ok := without(part{nominal: math.Exp(b), u: v}, (a*wa+b*wb)/(wa+wb), 1/math.Sqrt(wa+wb))
	if !ok || math.Abs(rest-a) > 1e-9 || math.Abs(restU-u) > 1e-9 {
		t.Errorf("%g ± %g, %v; want %g ± %g", rest, restU, ok, a, u)
	}
	if _, _, ok := without(part{nominal: math.Exp(b), u: v}, b, v); ok {
		t.Error("something is left where the prior says all")
	}
}
