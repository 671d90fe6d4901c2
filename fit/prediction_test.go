package fit

import (
	"errors"
	"math"
	"strings"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit/circuit"
)

// stated is a coil whose inductance alone is uncertain, by u in henry.
type stated struct {
	henry, u, weak, clockU float64
	ambiguous              string
	err                    error
}

func (s stated) Bare() (circuit.Coil, error) { return circuit.Coil{InductanceH: s.henry}, s.err }

func (s stated) Carry(count int, quantities func(circuit.Coil, []float64)) Carried {
	c := Carried{Variances: make([]Variances, count), ClockU: s.clockU, Ambiguous: s.ambiguous,
		MissingFact: "a known capacitor is missing"}
	up, down := make([]float64, count), make([]float64, count)
	const h = 1e-4
	quantities(circuit.Coil{InductanceH: s.henry + h}, up)
	quantities(circuit.Coil{InductanceH: s.henry - h}, down)
	for k := range c.Variances {
		u := (up[k] - down[k]) / (2 * h) * s.u
		c.Variances[k] = Variances{Fit: u * u, Weak: s.weak * u * u}
	}
	return c
}

// sums is what the inductances and the first part come to, and whatever else.
func sums(coils []circuit.Coil, parts, dst []float64) {
	dst[0] = parts[0]
	for _, c := range coils {
		dst[0] += c.InductanceH
	}
	dst[1] = math.NaN()
}

// The u of a sum of independent values is the root of the sum of squares (JCGM
// 100:2008, 5.1.2), of a frequency with the clock's.
func TestPropagate(t *testing.T) {
	part, err := quantity.ParseInductance("1H 6% U95") // u = 0.03 H
	if err != nil {
		t.Fatal(err)
	}
	sought := []Sought{{Frequency: true}, {Missing: "there is none"}}
	two := []Uncertain{stated{henry: 2, u: 0.04, clockU: 0.001}, stated{henry: 3, u: 0.12, clockU: 0.02}}
	q, err := Propagate(two, []quantity.Value{part.Value}, sought, sums)
	if err != nil {
		t.Fatal(err)
	}
	if want := math.Sqrt(0.03*0.03 + 0.04*0.04 + 0.12*0.12 + 0.12*0.12); q[0].Value != 6 ||
		math.Abs(q[0].U/want-1) > 1e-9 || math.Abs(q[0].U95-quantity.Coverage95*want) > 1e-9 {
		t.Errorf("the sum is %+v, want 6 with u %g", q[0], want)
	}
	if q[1].Why != "there is none" {
		t.Errorf("what does not exist is %+v", q[1])
	}
	for _, tt := range []struct {
		coils []Uncertain
		why   string
	}{
		{[]Uncertain{stated{henry: 2, u: 0.04, weak: 0.5}, two[1]}, ""},
		{[]Uncertain{stated{henry: 2, u: 0.4, weak: 0.5}, two[1]}, "a known capacitor"},
		{[]Uncertain{stated{henry: 2, u: 0.4, weak: 0.5}, stated{henry: 3, ambiguous: "two circuits"}}, "two circuits"},
		{[]Uncertain{stated{henry: 2, u: 9}}, "U95 would be"},
	} {
		q, err := Propagate(tt.coils, []quantity.Value{part.Value}, sought, sums)
		if err != nil {
			t.Fatal(err)
		}
		if (q[0].Why == "") != (tt.why == "") || !strings.Contains(q[0].Why, tt.why) {
			t.Errorf("%+v: %q, want %q", tt.coils, q[0].Why, tt.why)
		}
	}
	unknown := errors.New("the fixture is not known")
	if _, err := Propagate([]Uncertain{two[0], stated{err: unknown}}, []quantity.Value{part.Value}, sought,
		sums); !errors.Is(err, unknown) {
		t.Errorf("error %v, want %v", err, unknown)
	}
}
