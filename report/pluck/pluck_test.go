package pluck

import (
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"
)

// amplitude is that of a partial over a stretch of x, by a Hann window.
func amplitude(x []float64, hz float64) float64 {
	var sum complex128
	for k, v := range x {
		window := 1 - math.Cos(2*math.Pi*(float64(k)+0.5)/float64(len(x)))
		sum += complex(v*window, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(k)/RateHz))
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// pitch is where the partial near hz is strongest.
func pitch(x []float64, hz float64) float64 {
	low, high := hz*0.98, hz*1.02
	for high/low > 1+1e-6 {
		a, b := low+(high-low)/3, high-(high-low)/3
		if amplitude(x, a) < amplitude(x, b) {
			low = a
		} else {
			high = b
		}
	}
	return low
}

// Strings are in tune, in equal temperament from A4 = 440 Hz (ISO 16), as the pitches of
// the open strings in any table have it: within 2 cents, less than is heard.
func TestTune(t *testing.T) {
	for name, want := range map[string]float64{"E2": 82.407, "A2": 110, "D3": 146.832, "G3": 195.998, "B3": 246.942,
		"E4": 329.628, "Bb3": 233.082, "F#5": 739.989} {
		notes, err := ParseNotes(name)
		if err != nil {
			t.Fatal(err)
		}
		if got := notes[0].FrequencyHz; math.Abs(got/want-1) > 1e-5 {
			t.Errorf("%s is %.3f Hz, want %.3f Hz", name, got, want)
		}
		got := pitch(Strings(notes)[RateHz/2:3*RateHz/2], want)
		if cents := 1200 * math.Log2(got/want); math.Abs(cents) > 2 {
			t.Errorf("%s sounds at %.3f Hz, %.2f cents from %.3f Hz", name, got, cents, want)
		}
	}
}

// Partials fade as the loop says: the mean of two samples lets cos(pi f/rate) through
// at each turn (Jaffe and Smith, equation of the decay), the fundamental falls by 60 dB
// in the time that was chosen, and the partials with a node at the pick are weak.
func TestDecay(t *testing.T) {
	notes, _ := ParseNotes("A2")
	x := Strings(notes)
	early, late := x[RateHz/2:RateHz], x[3*RateHz/2:2*RateHz]
	perSecond := func(n float64) float64 { return 20 * math.Log10(amplitude(late, n*110)/amplitude(early, n*110)) }
	first := -60 / (decaySecond * math.Sqrt(decayHz/110))
	for _, n := range []float64{1, 2, 5, 11, 20} {
		loss := func(n float64) float64 { return 110 * 20 * math.Log10(math.Cos(math.Pi*n*110/RateHz)) }
		if got, want := perSecond(n), first+loss(n)-loss(1); math.Abs(got-want) > 0.3 {
			t.Errorf("partial %g falls by %.2f dB in a second, want %.2f", n, got, want)
		}
	}
	at := func(n float64) float64 { return amplitude(early, n*110) }
	if at(8) > 0.1*at(4) || at(16) > 0.1*at(12) {
		t.Errorf("partials 4, 8, 12, 16: %.2g, %.2g, %.2g, %.2g", at(4), at(8), at(12), at(16))
	}
}

func TestStrings(t *testing.T) {
	notes, err := ParseNotes("e2, B2 E3")
	if err != nil || len(notes) != 3 {
		t.Fatal(notes, err)
	}
	x := Strings(notes)
	if len(x) != int(RateHz*(2*gapSeconds+ringSeconds)) || slices.Max(x) > 1 || slices.Min(x) < -1 ||
		math.Abs(x[len(x)-1]) > 1e-3 {
		t.Errorf("%d samples from %g to %g, the last %g", len(x), slices.Min(x), slices.Max(x), x[len(x)-1])
	}
	if !slices.Equal(x, Strings(notes)) {
		t.Error("the same strings sound different")
	}
	for text, want := range map[string]string{"": "0 notes", "H2": `"H2" is not a note`, "E": "is not a note",
		"E22": "is not a note", "E#": "is not a note", "C0": "C0 is 16 Hz", "E8": "E8 is 5274 Hz",
		strings.Repeat("E2 ", 25): "25 notes"} {
		if _, err := ParseNotes(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}
