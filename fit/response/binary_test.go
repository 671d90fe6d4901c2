package response

import (
	"math"
	"reflect"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// filled is a Response in which every field is set.
func filled() *Response {
	return &Response{
		FrequencyHz: []float64{100, 200}, H: []complex128{1 - 2i, complex(math.Copysign(0, -1), 3)},
		Variance:    []float64{1e-9, 5e-324},
		VarianceDoF: 17.25, NoiseFloor: []float64{math.NaN(), 1e-7},
		Harmonic:      [][]float64{{1e-3, math.NaN()}, {math.NaN(), 2e-3}},
		HarmonicFloor: [][]float64{{1e-4, math.NaN()}, {math.NaN(), 2e-4}},
		harmonicRatio: [][]complex128{{1e-3i, complex(math.NaN(), 1)}, {0, -2e-3}}, Repeats: 3, SNRdB: 0.1,
		MainsHz:    49.98,
		HumLinesHz: []float64{50, 150}, ExtraDelayS: -1e-5, RepeatGain: []float64{1, 0.999},
		RepeatDelayS: []float64{0, 1e-9},
	}
}

func TestBinary(t *testing.T) {
	want := filled()
	v := reflect.ValueOf(*want)
	for i := range v.NumField() {
		if v.Field(i).IsZero() {
			t.Fatalf("the test does not set %s", v.Type().Field(i).Name)
		}
	}
	data, err := want.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var got Response
	if err := got.UnmarshalBinary(data); err != nil {
		t.Fatal(err)
	}
	same := cmp.Comparer(func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) })
	parts := cmp.Transformer("parts", func(c complex128) [2]float64 { return [2]float64{real(c), imag(c)} })
	if diff := cmp.Diff(want, &got, cmp.AllowUnexported(Response{}), same, parts); diff != "" {
		t.Errorf("(-written +read):\n%s", diff)
	}
}

func TestBinaryRefuses(t *testing.T) {
	for name, spoil := range map[string]func(*Response){
		"no points":           func(r *Response) { *r = Response{} },
		"H too short":         func(r *Response) { r.H = r.H[:1] },
		"variance too long":   func(r *Response) { r.Variance = append(r.Variance, 1) },
		"noise too short":     func(r *Response) { r.NoiseFloor = r.NoiseFloor[:1] },
		"harmonic too short":  func(r *Response) { r.Harmonic[1] = r.Harmonic[1][:1] },
		"its noise too short": func(r *Response) { r.HarmonicFloor[0] = r.HarmonicFloor[0][:1] },
		"ratio too short":     func(r *Response) { r.harmonicRatio[0] = nil },
		"falling frequency":   func(r *Response) { r.FrequencyHz[1] = 99 },
		"frequency not known": func(r *Response) { r.FrequencyHz[0] = math.NaN() },
		"infinite frequency":  func(r *Response) { r.FrequencyHz[1] = math.Inf(1) },
	} {
		t.Run(name, func(t *testing.T) {
			r := filled()
			spoil(r)
			data, err := r.MarshalBinary()
			if err != nil {
				t.Fatal(err)
			}
			if err := new(Response).UnmarshalBinary(data); err == nil {
				t.Error("read")
			}
		})
	}
	data, _ := filled().MarshalBinary()
	for n := range data {
		if err := new(Response).UnmarshalBinary(data[:n]); err == nil {
			t.Errorf("read from %d of %d bytes", n, len(data))
		}
	}
}
