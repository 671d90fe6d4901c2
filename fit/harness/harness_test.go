package harness

import (
	"bytes"
	"context"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

func farad(t testing.TB, text string) *quantity.Capacitance {
	t.Helper()
	c, err := quantity.ParseCapacitance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

func ohm(t testing.TB, text string) *quantity.Resistance {
	t.Helper()
	r, err := quantity.ParseResistance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

// measured is a coil of L, R and C, fitted to takes without noise whose
// response is the closed form of the second order. The parts are exact, so
// that what is predicted is the coil's.
func measured(t testing.TB, name string, l, r, c float64) Coil {
	t.Helper()
	const u = 1e-6
	var takes []joint.Take
	for _, added := range []float64{0, 470e-12, 1e-9} {
		take := joint.Take{Name: "take", Ideal: true, Response: &response.Response{SNRdB: 120, VarianceDoF: 100}}
		take.Load.FixtureC, take.Load.FixtureR = farad(t, "50p 0.0001%"), ohm(t, "1M 0.0001%")
		total := c + 50e-12 + added
		if added > 0 {
			take.Load.AddedC = farad(t, strconv.FormatFloat(added, 'e', -1, 64)+"F 0.0001%")
		}
		for hz := 30.0; hz < 19e3; hz *= 1.02 {
			s := complex(0, 2*math.Pi*hz)
			h := 1 / (complex(1+r/1e6, 0) + s*complex(r*total+l/1e6, 0) + s*s*complex(l*total, 0))
			take.Response.FrequencyHz = append(take.Response.FrequencyHz, hz)
			take.Response.H = append(take.Response.H, h)
			take.Response.Variance = append(take.Response.Variance, u*u)
		}
		takes = append(takes, take)
	}
	fitted, err := joint.Fit(context.Background(), capture.Coil{Name: name}, takes, fit.Options{Forms: []fit.Form{{}}})
	if err != nil {
		t.Fatal(err)
	}
	return Coil{Name: name, Fitted: fitted}
}

func relative(t *testing.T, what string, got fit.Quantity, want, tolerance float64) {
	t.Helper()
	if !got.Known() || math.Abs(got.Value/want-1) > tolerance {
		t.Errorf("%s is %+v, want %g", what, got, want)
	}
}

// Coils with a cable and an amplifier's input: peak, height over the plateau
// and Q as ngspice-39 has them for the netlists a1.cir to c2.cir in
// testdata/spice.
func TestAgainstNgspice(t *testing.T) {
	for _, tt := range []struct {
		name                string
		l, r, c             float64
		cable, amplifier    string
		peakHz, peakDB, q   float64
		plateau, resonantHz float64
	}{
		{"a1", 2.2, 6000, 120e-12, "350p", "1M", 4934.15, 16.18349, 6.424740, -0.05196, 4964.310},
		{"a2", 2.2, 6000, 120e-12, "350p", "250k", 4846.22, 9.08480, 2.800297, -0.20600, 5008.525},
		{"b1", 4.4, 8200, 100e-12, "600p", "1M", 2855.57, 14.83631, 5.495545, -0.07093, 2879.507},
		{"b2", 4.4, 8200, 100e-12, "600p", "250k", 2786.86, 7.85368, 2.416477, -0.28032, 2914.425},
		{"c1", 8, 15000, 180e-12, "470p", "1M", 2190.14, 12.30603, 4.092949, -0.12932, 2223.573},
		{"c2", 8, 15000, 180e-12, "470p", "250k", 2084.96, 5.35764, 1.778272, -0.50612, 2272.330},
	} {
		t.Run(tt.name, func(t *testing.T) {
			coil := measured(t, tt.name, tt.l, tt.r, tt.c)
			h := Harness{Cable: &Cable{Capacitance: farad(t, tt.cable)},
				Amplifier: Amplifier{Resistance: ohm(t, tt.amplifier)}}
			p, err := h.Predict([]Coil{coil})
			if err != nil {
				t.Fatal(err)
			}
			relative(t, "peak", p.Peak, tt.peakHz, 3e-6)
			relative(t, "height", p.PeakDB, tt.peakDB, 3e-6)
			relative(t, "Q", p.Q, tt.q, 3e-6)
			relative(t, "level", p.Level, tt.plateau, 1e-4)

			// The cable that puts the peak there is the cable that there is.
			s, err := h.Solve([]Coil{coil}, CableC, tt.peakHz)
			if err != nil {
				t.Fatal(err)
			}
			relative(t, "cable for this peak", s.Farad, farad(t, tt.cable).SI, 1e-5)
		})
	}
}

// full is an invented guitar with every kind of part.
func full(t testing.TB) Harness {
	volume, tone := 7.0, 4.0
	return Harness{
		Name: "an invented guitar", Wiring: "series", Phase: "out", Coupling: 0.05,
		Volume: &Pot{Resistance: ohm(t, "500k 20%"), Taper: "log", Position: &volume},
		Tone: &Tone{Pot: Pot{Resistance: ohm(t, "250k"), Taper: "linear", Position: &tone},
			Capacitance: farad(t, "22n 10%"), AtOutput: true},
		Bleed:     &Bleed{Capacitance: farad(t, "680p"), Parallel: ohm(t, "150k"), Series: ohm(t, "10k")},
		Cable:     &Cable{LengthM: 5, PerMetre: farad(t, "100p 10%")},
		Amplifier: Amplifier{Resistance: ohm(t, "1M 5%"), Capacitance: farad(t, "30p")},
	}
}

// The netlist runs in ngspice, and its levels are those of the response.
func TestNetlistRuns(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: run 'make deps', or the tests with -short")
	}
	coils := []Coil{measured(t, "one", 2.4, 6400, 110e-12), measured(t, "two", 3.1, 7900, 95e-12)}
	h := full(t)
	p, err := h.Predict(coils)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "guitar.cir")
	var b bytes.Buffer
	if err := h.WriteNetlist(&b, coils); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	log, err := exec.Command(program, "-b", path).Output()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s", err, log)
	}
	// Rows are: index, frequency, dB, phase.
	row := regexp.MustCompile(`(?m)^\d+\s+(\S+)\s+(\S+)\s+\S+\s*$`)
	rows := row.FindAllStringSubmatch(string(log), -1)
	if len(rows) < len(p.Response) || len(p.Response) < 200 {
		t.Fatalf("ngspice prints %d rows, the response has %d", len(rows), len(p.Response))
	}
	for i, point := range p.Response {
		hz, _ := strconv.ParseFloat(rows[i][1], 64)
		db, _ := strconv.ParseFloat(rows[i][2], 64)
		if math.Abs(point.FrequencyHz/hz-1) > 1e-6 || math.Abs(point.LevelDB.Value-db) > 0.001 {
			t.Errorf("at %g Hz: %.5f dB, ngspice %.5f dB at %g Hz", point.FrequencyHz, point.LevelDB.Value, db, hz)
		}
	}
}

// A cable's tolerance moves the peak by half its share of all the capacitance
// (f as 1/sqrt(LC), and the damping hardly matters at Q above 6).
func TestUncertaintyOfParts(t *testing.T) {
	coil := measured(t, "a", 2.2, 6000, 120e-12)
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p 5%")}, Amplifier: Amplifier{Resistance: ohm(t, "1M 0.001%")}}
	p, err := h.Predict([]Coil{coil})
	if err != nil {
		t.Fatal(err)
	}
	want := p.Peak.Value * 0.5 * 0.05 / math.Sqrt(3) * 350 / 470
	if math.Abs(p.Peak.U/want-1) > 0.02 {
		t.Errorf("u of the peak is %g Hz, want %g Hz", p.Peak.U, want)
	}
	// Without the cable nothing of it is left, and the peak is the coil's with
	// the input: 1/(2 pi) sqrt((1+R/R1)/(LC)) sqrt(1 - 1/(2Q²)).
	q := math.Sqrt(2.2*120e-12*1.006) / (6000*120e-12 + 2.2/1e6)
	bare := math.Sqrt(1.006/(2.2*120e-12)) / (2 * math.Pi) * math.Sqrt(1-1/(2*q*q))
	for _, w := range p.Without {
		if w.Part == "cable" {
			relative(t, "peak without the cable", w.Peak, bare, 1e-5)
			if w.Peak.U > 1e-4*w.Peak.Value {
				t.Errorf("without the cable u is %g Hz", w.Peak.U)
			}
		}
	}
	if len(p.Without) != 2 {
		t.Errorf("removals: %+v", p.Without)
	}
}

// Two equal coils, by what two of anything are: in series twice L, R and half
// C; in parallel the other way about; out of phase nothing.
func TestTwoCoils(t *testing.T) {
	one := measured(t, "one", 2.2, 6000, 120e-12)
	series := measured(t, "both in series", 4.4, 12000, 60e-12)
	parallel := measured(t, "both in parallel", 1.1, 3000, 240e-12)
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p")}, Amplifier: Amplifier{Resistance: ohm(t, "1M")}}
	alone := func(c Coil) *Prediction {
		p, err := h.Predict([]Coil{c})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	for wiring, want := range map[string]*Prediction{"series": alone(series), "parallel": alone(parallel),
		"split": alone(one)} {
		two := h
		two.Wiring = wiring
		p, err := two.Predict([]Coil{one, one})
		if err != nil {
			t.Fatal(err)
		}
		relative(t, wiring+": peak", p.Peak, want.Peak.Value, 1e-5)
		relative(t, wiring+": Q", p.Q, want.Q.Value, 1e-5)
		level := want.Level.Value
		if wiring == "series" {
			level += 20 * math.Log10(2)
		}
		if math.Abs(p.Level.Value-level) > 1e-4 {
			t.Errorf("%s: level %g dB, want %g dB", wiring, p.Level.Value, level)
		}
	}
	two := h
	two.Wiring, two.Phase = "series", "out"
	p, err := two.Predict([]Coil{one, one})
	if err != nil {
		t.Fatal(err)
	}
	// The rounding error of the difference is not a signal.
	if p.Level.Known() && p.Level.Value > -80 {
		t.Errorf("out of phase: level %+v", p.Level)
	}
}

// At volume 10 the pot is a load only; with a tone capacitor of 22 nF at 0 the
// peak lies where L meets it: 1/(2 pi sqrt(LC)).
func TestKnobs(t *testing.T) {
	coil := measured(t, "b", 4.4, 8200, 100e-12)
	h := Harness{
		Volume: &Pot{Resistance: ohm(t, "500k")},
		Tone: &Tone{Pot: Pot{Resistance: ohm(t, "500k"), Taper: "lin"}, Capacitance: farad(t, "10n"),
			OpenAtFull: true},
		Cable:     &Cable{Capacitance: farad(t, "600p")},
		Amplifier: Amplifier{Resistance: ohm(t, "500k")},
	}
	p, err := h.Predict([]Coil{coil})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Positions) != 21 {
		t.Fatalf("%d positions, want 10 of the volume and 11 of the tone", len(p.Positions))
	}
	// 500 kohm beside 500 kohm are the 250 kohm of b2; the tone pot is open.
	relative(t, "peak", p.Peak, 2786.86, 3e-6)
	relative(t, "volume 10", p.Positions[0].Peak, 2786.86, 3e-6)
	last := p.Positions[20]
	if *last.Tone != 0 {
		t.Fatalf("last position: %+v", last)
	}
	total := 10e-9 + 700e-12
	q := math.Sqrt(4.4*total*(1+8200/250e3)) / (8200*total + 4.4/250e3)
	want := math.Sqrt((1+8200/250e3)/(4.4*total)) / (2 * math.Pi) * math.Sqrt(1-1/(2*q*q))
	relative(t, "peak at tone 0", last.Peak, want, 1e-5)
	for i := 1; i < 10; i++ {
		if a, b := p.Positions[i-1].Level, p.Positions[i].Level; !(b.Value < a.Value) {
			t.Errorf("level at volume %g is %g dB, at the position above %g dB", *p.Positions[i].Volume, b.Value,
				a.Value)
		}
	}
	s, err := h.at(10, 0).Solve([]Coil{coil}, ToneCapacitor, want)
	if err != nil {
		t.Fatal(err)
	}
	relative(t, "tone capacitor for this peak", s.Farad, 10e-9, 1e-4)
}

func TestSolveRefuses(t *testing.T) {
	coils := []Coil{measured(t, "a", 2.2, 6000, 120e-12)}
	h := Harness{Amplifier: Amplifier{Resistance: ohm(t, "1M")}}
	for _, tt := range []struct {
		part string
		hz   float64
		want string
	}{
		{CableC, 15e3, "15.0 kHz is out of reach"},
		{ToneCapacitor, 3e3, "there is no tone control"},
		{AmplifierR, 3e3, "cannot be solved for"},
		{CableC, 10, "want between 50 and 40000 Hz"},
	} {
		if _, err := h.Solve(coils, tt.part, tt.hz); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s at %g Hz: error %v, want one with %q", tt.part, tt.hz, err, tt.want)
		}
	}
	if _, err := h.Predict(append(coils, coils...)); err == nil ||
		!strings.Contains(err.Error(), "wired for 1 coils, not 2") {
		t.Errorf("two coils for one: %v", err)
	}
}

// A length of cable counts as the capacitance of so many metres; assumed values
// are named.
func TestParts(t *testing.T) {
	parts, warnings := full(t).Parts()
	size := nominal(parts)
	if math.Abs(size[CableC]-500e-12) > 1e-20 || size[TonePot] != 250e3 || len(parts) != 9 {
		t.Errorf("parts %+v", parts)
	}
	for _, p := range parts {
		if p.Value.U() <= 0 {
			t.Errorf("%s has no uncertainty", p.Name)
		}
	}
	if text := strings.Join(warnings, "\n"); !strings.Contains(text, "tone pot 250k: a tolerance of 20 % is assumed") ||
		strings.Contains(text, "volume") {
		t.Errorf("warnings %q", warnings)
	}
	_, warnings = Harness{Cable: &Cable{LengthM: 3}}.Parts()
	if text := strings.Join(warnings, "\n"); !strings.Contains(text, "100p 30% per metre is assumed") ||
		!strings.Contains(text, "an input of 1M 20% is assumed") {
		t.Errorf("warnings %q", warnings)
	}
}

// The response and the sound come from one circuit: its highest point is the
// peak.
func TestResponseHasThePeak(t *testing.T) {
	coil := measured(t, "a", 2.2, 6000, 120e-12)
	h := Harness{Cable: &Cable{Capacitance: farad(t, "350p")}, Amplifier: Amplifier{Resistance: ohm(t, "1M")}}
	p, err := h.Predict([]Coil{coil})
	if err != nil {
		t.Fatal(err)
	}
	for _, point := range p.Response {
		s := complex(0, 2*math.Pi*point.FrequencyHz)
		want := 20 * math.Log10(cmplx.Abs(1/(complex(1+6000/1e6, 0)+s*complex(6000*470e-12+2.2/1e6,
			0)+s*s*complex(2.2*470e-12, 0))))
		if math.Abs(point.LevelDB.Value-want) > 1e-4 {
			t.Errorf("at %g Hz %g dB, the closed form gives %g dB", point.FrequencyHz, point.LevelDB.Value, want)
		}
	}
}

// knobbed is a guitar with all that Predict looks into.
func knobbed(t testing.TB) Harness {
	return Harness{
		Volume: &Pot{Resistance: ohm(t, "500k")},
		Tone:   &Tone{Pot: Pot{Resistance: ohm(t, "500k")}, Capacitance: farad(t, "22n")},
		Cable:  &Cable{Capacitance: farad(t, "470p")}, Amplifier: Amplifier{Resistance: ohm(t, "1M")},
	}
}

// A preview is the prediction without its slow parts; its curve is the same, and its band is
// off by 0.03 dB at most, where a pixel is some 0.1 dB.
func TestPreview(t *testing.T) {
	coils := []Coil{measured(t, "a", 2.4, 7.85e3, 110e-12)}
	h := knobbed(t)
	whole, err := h.Predict(coils)
	if err != nil {
		t.Fatal(err)
	}
	quick, err := h.Preview(coils)
	if err != nil {
		t.Fatal(err)
	}
	if len(quick.Positions)+len(quick.Without) > 0 {
		t.Errorf("%d positions, %d removals", len(quick.Positions), len(quick.Without))
	}
	if quick.Sound != whole.Sound || len(quick.Response) != len(whole.Response) {
		t.Errorf("previewed %+v, predicted %+v", quick.Sound, whole.Sound)
	}
	off := 0.0
	for i, point := range quick.Response {
		want := whole.Response[i]
		if point.FrequencyHz != want.FrequencyHz || point.LevelDB.Value != want.LevelDB.Value {
			t.Errorf("previewed %+v, predicted %+v", point, want)
		}
		off = max(off, math.Abs(point.LevelDB.U95-want.LevelDB.U95))
	}
	if t.Logf("U95 is off by %.4f dB at most", off); !(off < 0.03) {
		t.Errorf("U95 is off by %.4f dB", off)
	}
}

func BenchmarkPreview(b *testing.B) {
	coils := []Coil{measured(b, "a", 2.4, 7.85e3, 110e-12)}
	h := knobbed(b)
	for b.Loop() {
		if _, err := h.Preview(coils); err != nil {
			b.Fatal(err)
		}
	}
}
