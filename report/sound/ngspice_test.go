package sound

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"testing"
)

// The filter is the circuit: of coils with cable and input, whose parts stand in the
// netlists in testdata/spice, it has the magnitude and the phase that ngspice finds,
// but for a delay of less than a sample, the same for all frequencies to 2 degrees at
// 10 kHz: what is beyond half the rate would have added it. Magnitudes are those of the
// closed form.
func TestAgainstNgspice(t *testing.T) {
	file, err := os.Open("../../testdata/spice/response.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for name, of := range map[string]struct{ l, r, c, load float64 }{
		"a1": {2.2, 6000, 470e-12, 1e6}, "a2": {2.2, 6000, 470e-12, 250e3}, "b1": {4.4, 8200, 700e-12, 1e6},
		"b2": {4.4, 8200, 700e-12, 250e3}, "c1": {8, 15000, 650e-12, 1e6}, "c2": {8, 15000, 650e-12, 250e3},
	} {
		magnitude := Frequencies(rate)
		for i, hz := range magnitude {
			s := complex(0, 2*math.Pi*hz)
			magnitude[i] = 1 / cmplx.Abs(complex(1+of.r/of.load, 0)+s*complex(of.r*of.c+of.l/of.load, 0)+
				s*s*complex(of.l*of.c, 0))
		}
		f, first := NewFilter(magnitude), 0.0
		for _, row := range rows {
			if row[0] != name {
				continue
			}
			hz, _ := strconv.ParseFloat(row[1], 64)
			db, _ := strconv.ParseFloat(row[2], 64)
			degrees, _ := strconv.ParseFloat(row[3], 64)
			var h complex128
			for k, v := range f {
				h += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(k)/rate))
			}
			delay := math.Remainder(180/math.Pi*cmplx.Phase(h)-degrees, 360) / 360 * rate / hz
			if first == 0 {
				first = delay
			}
			if d := 20*math.Log10(cmplx.Abs(h)) - db; math.Abs(d) > 1e-4 || !(delay > 0 && delay < 1) ||
				hz <= 10e3 && math.Abs(delay-first) > 0.025 {
				t.Errorf("%s at %g Hz: %.5f dB off, early by %.3f samples, at the first frequency by %.3f", name, hz, d, delay,
					first)
			}
			compared++
		}
	}
	if compared != 66 {
		t.Errorf("%d frequencies compared", compared)
	}
}
