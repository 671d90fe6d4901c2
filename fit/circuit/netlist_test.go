package circuit

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// inventedGuitar is a made-up guitar: two unlike coils out of phase, every
// kind of part in it.
func inventedGuitar() Harness {
	return Harness{
		Coils: []HarnessCoil{
			{Coil: Coil{InductanceH: 2.4, ResistanceOhm: 6400, CapacitanceF: 110e-12,
				Rings: []Ring{{0.1, 3e-5}}, CoverTimeS: 4e-6}, EMF: 1},
			{Coil: Coil{InductanceH: 3.1, ResistanceOhm: 7900, CapacitanceF: 95e-12,
				Cylinder: Ring{0.2, 2e-5}}, EMF: 0.8, Reversed: true},
		},
		Wiring: InSeries, Coupling: 0.05,
		Volume:            &Potentiometer{500e3, Logarithmic, 1},
		Tone:              &Tone{Pot: Potentiometer{500e3, Linear, 0.5}, CapacitanceF: 22e-9, AtOutput: true},
		Bleed:             &Bleed{CapacitanceF: 680e-12, ParallelOhm: 150e3, SeriesOhm: 10e3},
		CableCapacitanceF: 470e-12,
		Amplifier:         Load{ResistanceOhm: 1e6, CapacitanceF: 30e-12},
	}
}

func TestWriteNetlist(t *testing.T) {
	n, out, err := inventedGuitar().Network()
	if err != nil {
		t.Fatal(err)
	}
	n.AddCurrentSource("noise", Ground, out, complex(0, 1e-12))
	var got bytes.Buffer
	if err := n.WriteNetlist(&got,
		Netlist{Title: "an invented guitar\nR1 0 0 1", FromHz: 20, ToHz: 20e3, PointsPerDecade: 10,
			Print: []Node{out}}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join("testdata", "guitar.cir")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got.String() != string(want) {
		t.Errorf("netlist differs from %s (rewrite with -update):\n%s", path, got.String())
	}
}

// The golden netlist as it stands runs in ngspice, and its table agrees with
// the analysis in the digits it prints.
func TestNetlistRuns(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: apt-get install ngspice, or run the tests with -short")
	}
	log, err := exec.Command(program, "-b", filepath.Join("testdata", "guitar.cir")).CombinedOutput()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s", err, log)
	}
	n, out, err := inventedGuitar().Network()
	if err != nil {
		t.Fatal(err)
	}
	n.AddCurrentSource("noise", Ground, out, complex(0, 1e-12))
	a, err := NewAnalysis(n)
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for line := range strings.Lines(string(log)) {
		var index int
		var hz, db, radians float64
		if k, _ := fmt.Sscanf(line, "%d %g %g %g", &index, &hz, &db, &radians); k != 4 {
			continue
		}
		rows++
		if err := a.Solve(atHz(hz)); err != nil {
			t.Fatal(err)
		}
		v := a.Voltage(out)
		// Six digits, of the frequency too.
		if math.Abs(decibels(v)-db) > 1e-4 || math.Abs(math.Remainder(cmplx.Phase(v)-radians, 2*math.Pi)) > 1e-4 {
			t.Errorf("%g Hz: %g dB %g rad, ngspice %g, %g", hz, decibels(v), cmplx.Phase(v), db, radians)
		}
	}
	if rows != 31 {
		t.Errorf("%d rows of 31 in\n%s", rows, log)
	}
}

func TestNetlistMistakes(t *testing.T) {
	var n Network
	n.AddResistor("1", n.Node("a"), Ground, -1)
	if err := n.WriteNetlist(&bytes.Buffer{}, Netlist{}); err == nil {
		t.Error("a network with a mistake was written")
	}
	var good Network
	good.AddResistor("1", good.Node("a"), Ground, 1)
	for _, how := range []Netlist{
		{FromHz: 0, ToHz: 1e3, PointsPerDecade: 10},
		{FromHz: 2e3, ToHz: 1e3, PointsPerDecade: 10},
		{FromHz: 20, ToHz: math.Inf(1), PointsPerDecade: 10},
		{Print: []Node{9}},
	} {
		if err := good.WriteNetlist(&bytes.Buffer{}, how); err == nil {
			t.Errorf("%+v was written", how)
		}
	}
}

// Controls at their ends are simple circuits: a tone control at 0 is its
// capacitor across the coil; a volume control at full is a resistor across it,
// with its bleed parts bridged; pots away from their ends divide.
func TestControlsAtTheirEnds(t *testing.T) {
	coil := Coil{InductanceH: 2.4, ResistanceOhm: 6400, CapacitanceF: 110e-12, Rings: []Ring{{0.1, 3e-5}}}
	full := &Potentiometer{500e3, Logarithmic, 1}
	tone := func(position float64) *Tone {
		return &Tone{Pot: Potentiometer{250e3, Logarithmic, position}, CapacitanceF: 22e-9}
	}
	openTone := tone(1)
	openTone.OpenAtFull = true
	base := Harness{Coils: []HarnessCoil{{Coil: coil, EMF: 1}}, CableCapacitanceF: 500e-12,
		Amplifier: Load{ResistanceOhm: 1e6}}
	for _, c := range []struct {
		name   string
		change func(h *Harness)
		load   Load
	}{
		{"tone at 0", func(h *Harness) { h.Tone = tone(0) }, Load{ResistanceOhm: 1e6, CapacitanceF: 22.5e-9}},
		{"tone open", func(h *Harness) { h.Tone = openTone }, Load{ResistanceOhm: 1e6, CapacitanceF: 500e-12}},
		{"volume at full", func(h *Harness) { h.Volume = full }, Load{ResistanceOhm: 1e6 / 3, CapacitanceF: 500e-12}},
		{"bleed at full", func(h *Harness) { h.Volume, h.Bleed = full, &Bleed{1e-9, 150e3, 20e3} },
			Load{ResistanceOhm: 1e6 / 3, CapacitanceF: 500e-12}},
		{"tone at 0 at the output", func(h *Harness) { h.Volume, h.Tone = full, tone(0); h.Tone.AtOutput = true },
			Load{ResistanceOhm: 1e6 / 3, CapacitanceF: 22.5e-9}},
	} {
		h := base
		c.change(&h)
		response, err := h.Response()
		if err != nil {
			t.Fatal(err)
		}
		for _, hz := range []float64{50, 690, 3000, 15e3} {
			got, err := response.Transfer(atHz(hz))
			if err != nil {
				t.Fatal(err)
			}
			if want := coil.Transfer(atHz(hz), c.load); cmplx.Abs(got/want-1) > 1e-10 {
				t.Errorf("%s at %g Hz: %v, want %v", c.name, hz, got, want)
			}
		}
		f, q, ok := response.Resonance(50, 20e3)
		wf, wq, wok := coil.Resonance(c.load)
		if ok != wok || ok && (relative(f, wf) > 1e-9 || relative(q, wq) > 1e-9) {
			t.Errorf("%s: resonance %g Hz Q %g %v, want %g, %g, %v", c.name, f, q, ok, wf, wq, wok)
		}
	}
	// Linear volume pot half way at 0 Hz: 6400 ohm + 250k above, 250k || 1M
	// below.
	h := base
	h.Volume = &Potentiometer{500e3, Linear, 0.5}
	response, err := h.Response()
	if err != nil {
		t.Fatal(err)
	}
	if plateau, err := response.Plateau(); err != nil || relative(plateau, 200e3/(200e3+250e3+6400)) > 1e-12 {
		t.Errorf("half way: plateau %g, %v", plateau, err)
	}
}

// A load that damps the peak away leaves a pole pair below Q = 0.707, found
// among all the poles; one that damps more leaves none.
func TestDampedHarness(t *testing.T) {
	coil := Coil{InductanceH: 2.4, ResistanceOhm: 6400, CapacitanceF: 110e-12}
	for _, ohm := range []float64{1e6, 60e3, 40e3, 20e3, 5e3} {
		response, err := (Harness{Coils: []HarnessCoil{{Coil: coil, EMF: 1}}, CableCapacitanceF: 500e-12,
			Amplifier: Load{ResistanceOhm: ohm}}).Response()
		if err != nil {
			t.Fatal(err)
		}
		f, q, ok := response.Resonance(100, 50e3)
		wf, wq, wok := coil.Resonance(Load{ResistanceOhm: ohm, CapacitanceF: 500e-12})
		if ok != wok || ok && (relative(f, wf) > 1e-9 || relative(q, wq) > 1e-9) {
			t.Errorf("%g ohm: resonance %g Hz Q %g %v, want %g, %g, %v", ohm, f, q, ok, wf, wq, wok)
		}
		_, _, peaked := response.Peak(100, 50e3)
		if _, _, want := coil.Peak(Load{ResistanceOhm: ohm, CapacitanceF: 500e-12}); peaked != want {
			t.Errorf("%g ohm: peak %v, want %v", ohm, peaked, want)
		}
	}
}
