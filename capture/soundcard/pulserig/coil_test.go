//go:build linux

package pulserig

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"testing"
)

// The circuits are those of testdata/spice, their answers ngspice-39's.
func TestBenchAnswersAsNgspiceSays(t *testing.T) {
	coils := map[string]Coil{
		"a1": {InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 470e-12, LoadOhm: 1e6},
		"b1": {InductanceH: 4.4, ResistanceOhm: 8200, CapacitanceF: 700e-12, LoadOhm: 1e6},
	}
	f, err := os.Open("../../../testdata/spice/response.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows[1:] {
		coil, ok := coils[row[0]]
		if !ok {
			continue
		}
		checked++
		freq, mag, phase := number(t, row[1]), number(t, row[2]), number(t, row[3])
		// Part of the capacitance comes as an added one.
		bare := coil
		bare.CapacitanceF -= 220e-12
		b := newBench(bare, RateHz)
		b.setCoil(bare, 220e-12)
		gain := b.emfPerStep * b.stepS // EMF in V for 1 A/s
		got := response(b, freq) / complex(0, 2*math.Pi*freq*gain)
		gotMag, gotPhase := 20*math.Log10(cmplx.Abs(got)), cmplx.Phase(got)*180/math.Pi
		if math.Abs(gotMag-mag) > 0.002 || math.Abs(gotPhase-phase) > 0.005 {
			t.Errorf("%s at %g Hz: %.4f dB %.3f°, ngspice has %.4f dB %.3f°", row[0], freq, gotMag, gotPhase, mag,
				phase)
		}
	}
	if checked != 22 {
		t.Errorf("%d rows of the table were checked, want 22", checked)
	}
}

// response is voltage over current at a frequency, when the transient is over.
func response(b *bench, freqHz float64) complex128 {
	const settle, frames = RateHz / 10, RateHz / 10 // whole cycles of 10 Hz
	var v, i complex128
	for n := range settle + frames {
		w := 2 * math.Pi * freqHz * float64(n) / RateHz
		voltage, current := b.next(math.Sin(w))
		if n >= settle {
			turn := cmplx.Exp(complex(0, -w))
			v += complex(voltage, 0) * turn
			i += complex(current, 0) * turn
		}
	}
	return v / i
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
