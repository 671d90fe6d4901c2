package plot

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func labels(ticks []Tick) string {
	var out []string
	for _, t := range ticks {
		if t.Label != "" {
			out = append(out, t.Label)
		}
	}
	return strings.Join(out, " ")
}

func TestTicks(t *testing.T) {
	for _, test := range []struct {
		name            string
		axis            Axis
		length, spacing float64
		want            string
	}{
		{"audio band, wide", Axis{Log: true, Min: 20, Max: 20000}, 700, 44, "20 50 100 200 500 1k 2k 5k 10k 20k"},
		{"audio band, narrow", Axis{Log: true, Min: 20, Max: 20000}, 230, 44, "100 1k 10k"},
		{"below one", Axis{Log: true, Min: 0.02, Max: 2}, 400, 44, "0.02 0.05 0.1 0.2 0.5 1 2"},
		{"part of a decade", Axis{Log: true, Min: 2100, Max: 4800}, 400, 44, "2.5k 3k 3.5k 4k 4.5k"},
		{"dB", Axis{Min: -32, Max: 23}, 350, 34, "−30 −20 −10 0 10 20"},
		{"small", Axis{Min: -0.013, Max: 0.012}, 200, 34, "−0.010 −0.005 0 0.005 0.010"},
		{"degrees", Axis{Min: -188, Max: 9, Degrees: true}, 240, 34, "−180 −135 −90 −45 0"},
		{"thousands", Axis{Min: 0, Max: 1800}, 350, 34, "0 200 400 600 800 1000 1200 1400 1600 1800"},
		{"ten thousands", Axis{Min: 0, Max: 18000}, 350, 80, "0 5k 10k 15k"},
		{"no room", Axis{Min: 0, Max: 10}, 30, 34, "0 5 10"},
	} {
		if got := labels(test.axis.Ticks(test.length, test.spacing)); got != test.want {
			t.Errorf("%s: got %q, want %q", test.name, got, test.want)
		}
	}
}

// Whatever the range, at least two ticks carry a label, all lie on the axis,
// no two labels are the same, and each label says its value.
func TestTicksOfAnyRange(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 8000 {
		a := Axis{Log: random.IntN(2) == 0, Degrees: random.IntN(3) == 0}
		if a.Log {
			a.Min = math.Pow(10, -2+7*random.Float64())
			a.Max = a.Min * math.Pow(10, 0.02+4*random.Float64())
		} else {
			a.Min = (random.Float64() - 0.5) * math.Pow(10, 4*random.Float64())
			a.Max = a.Min + math.Pow(10, -2+5*random.Float64())
		}
		ticks := a.Ticks(50+900*random.Float64(), 30+30*random.Float64())
		if labelled(ticks) < 2 {
			t.Fatalf("%+v: labels %q", a, labels(ticks))
		}
		seen := map[string]bool{}
		for _, tick := range ticks {
			if slack := 1e-8 * (a.Max - a.Min); tick.Value < a.Min-slack || tick.Value > a.Max+slack {
				t.Fatalf("%+v: tick at %g", a, tick.Value)
			}
			if tick.Label != "" && seen[tick.Label] {
				t.Fatalf("%+v: label %q twice in %q", a, tick.Label, labels(ticks))
			}
			seen[tick.Label] = true
		}
	}
}

func TestAxisPlaces(t *testing.T) {
	a := Axis{Log: true, Min: 20, Max: 20000}
	for v, want := range map[float64]float64{20: 0, 200: 100, 2000: 200, 20000: 300} {
		if got := a.at(v, 300); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g Hz at %g, want %g", v, got, want)
		}
	}
}

func labelled(ticks []Tick) int {
	n := 0
	for _, t := range ticks {
		if t.Label != "" {
			n++
		}
	}
	return n
}
