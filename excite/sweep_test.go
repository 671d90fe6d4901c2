package excite

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

func readTable(t *testing.T, path string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 100 {
		t.Fatal(len(rows), err)
	}
	var table []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, text := range row {
			x, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			m[rows[0][i]] = x
		}
		table = append(table, m)
	}
	return table
}

// scipy.signal.chirp, SciPy 1.10.1 (testdata/sweep): the form that is not
// synchronised, phase f1 L (exp(t/L) - 1) with L = T/ln(f2/f1).
func TestChirpOfSciPy(t *testing.T) {
	rate := 6 / math.Log(1000)
	for _, row := range readTable(t, "../testdata/sweep/chirp_log_20_20000_6s_48k.csv") {
		cycles := 20 * rate * (portableExp(row["n"]/48000/rate) - 1)
		if got := sinCycles(cycles); math.Abs(got-row["sample"]) > 1e-9 {
			t.Fatalf("sample %g: %.12f, SciPy %.12f", row["n"], got, row["sample"])
		}
		if got := 2 * math.Pi * cycles; math.Abs(got-row["phase_rad"]) > 1e-4*1e-5*max(1, got) {
			t.Fatalf("sample %g: phase %.9f, table %.9f", row["n"], got, row["phase_rad"])
		}
	}
}

// testdata/sweep/synchronised.py, SciPy 1.10.1.
func TestSynchronisedSweepOfSciPy(t *testing.T) {
	s := mustDesign(t, func(r *Request) { r.SweepS, r.LevelDBFS = 6, 0 })
	if s.Cycles != 17 || s.SweepSamples != 281837 {
		t.Fatalf("%d cycles, %d samples", s.Cycles, s.SweepSamples)
	}
	sweep := s.Sweep()
	whole := 0
	for _, row := range readTable(t, "../testdata/sweep/synchronised_20_20000_6s_48k.csv") {
		n := int(row["n"])
		if got := s.phase(s.Course(), n, portableExp); math.Abs(got-row["phase_cycles"]) > 1e-10 {
			t.Fatalf("sample %d: phase %.12f cycles, SciPy %.12f", n, got, row["phase_cycles"])
		}
		if got := sinCycles(s.phase(s.Course(), n, portableExp)); math.Abs(got-row["sample"]) > 1e-9 {
			t.Fatalf("sample %d: %.12f, SciPy %.12f", n, got, row["sample"])
		}
		if got := s.Course().FrequencyAt(float64(n) / 48000); math.Abs(got/row["frequency_hz"]-1) > 1e-9 {
			t.Fatalf("sample %d: %.9f Hz, SciPy %.9f", n, got, row["frequency_hz"])
		}
		if n >= s.FadeInSamples && n < s.SweepSamples-s.FadeOutSamples {
			// Half a step of 24 bits, and one where full scale has no code.
			if math.Abs(sweep[n]-row["sample"]) > 1.01/(1<<23) {
				t.Fatalf("sample %d: %.12f as played, SciPy %.12f", n, sweep[n], row["sample"])
			}
			whole++
		}
	}
	if whole < 100 {
		t.Errorf("only %d samples at full level were compared", whole)
	}
}

// Novak, Lotton and Simon 2015, with the numbers worked out by numpy:
// 20 Hz to 20 kHz, 6 s wanted.
func TestSynchronisedNumbers(t *testing.T) {
	s := mustDesign(t, func(r *Request) { r.SweepS = 6 })
	near := func(what string, got, want, within float64) {
		t.Helper()
		if math.Abs(got-want) > within {
			t.Errorf("%s: %.10f, want %.10f", what, got, want)
		}
	}
	near("L", s.SweepRateS(), 0.85, 1e-15)
	near("T", s.TimeOf(20000), 5.871591987, 1e-9)
	near("phase at 0", s.phase(s.Course(), 0, portableExp), 17, 0)
	for _, row := range []struct{ t, f, cycles float64 }{
		{1, 64.858168, 55.129443}, {3, 682.078012, 579.766310}, {5, 7173.042741, 6097.086330},
	} {
		near("f", s.Course().FrequencyAt(row.t), row.f, 6e-7)
		near("cycles", s.phase(s.Course(), int(row.t)*48000, portableExp), row.cycles, 6e-7)
	}
	for n, lead := range map[int]float64{2: 0.5891751, 3: 0.9338204} {
		least, most := s.Course().HarmonicLeadsS(n)
		near("least lead of a harmonic", least, lead, 6e-8)
		near("greatest lead of a harmonic", most, lead, 6e-8)
	}
	near("TimeOf(FrequencyAt)", s.TimeOf(s.Course().FrequencyAt(2.5)), 2.5, 1e-12)
}

// phase(t + L ln n) = n phase(t): what keeps the harmonics in phase. The times
// are no whole samples, so the phase is taken from its formula.
func TestHarmonicPhase(t *testing.T) {
	s := mustDesign(t, nil)
	phase := func(seconds float64) float64 {
		return float64(s.Cycles) * portableExp(seconds/s.SweepRateS())
	}
	for k := range 200 {
		at := float64(k) * 0.005
		if got, want := phase(float64(k*240)/48000), s.phase(s.Course(), k*240, portableExp); math.Abs(got-want) > 1e-11 {
			t.Fatalf("phase(%g s) = %g, at the sample %g", at, got, want)
		}
		for n := 2; n <= 5; n++ {
			got, want := phase(at+s.SweepRateS()*math.Log(float64(n))), float64(n)*phase(at)
			if math.Abs(got-want) > 1e-11*max(1, want) {
				t.Fatalf("t %g s, n %d: %.12f cycles, want %.12f", at, n, got, want)
			}
		}
	}
}

// The samples must be the same on every machine and in every version: a
// description that was stored is made again from its numbers. On a change of
// these sums, StimulusSchema must change too.
func TestSamplesNeverChange(t *testing.T) {
	for rate, want := range map[int]string{
		44100:  "da50c4023af5aa7ef1c79b0b357dc32f3f3a85f72908c16c23e25446cba7b956",
		48000:  "4926319412c76e0afbb6ea4b198cd37ee00534d009fdd9de4bf121d90936121e",
		88200:  "349bb1879f719aa56a29e9a834fd26e42818849e2254eea40136d84c73f52626",
		96000:  "5824451ac9da76207ca12758696c57d50f74ff41be713b4ea8a132667b3175a4",
		176400: "818fc3795c7200ede0c0b14becf9a73886d62cf286507cb8083e52edab0d8585",
		192000: "e62d0cc2dbb32a8a437051adba6b53cab98768bd0c2ac399f0655bb388609c0b",
	} {
		s := mustDesign(t, func(r *Request) { r.RateHz = rate })
		if s.SHA256 != want {
			t.Errorf("%d Hz: checksum %s, want %s", rate, s.SHA256, want)
		}
	}
}

// What the standard library's functions give is taken only where the portable
// ones must give the same: whole sweeps of many kinds against these alone.
func TestQuickSamplesAreThePortable(t *testing.T) {
	steep := []Knot{{20, 0.06}, {900, 0.06}, {901, 15}, {903, 15}, {904, 0.06}, {20000, 0.5}}
	for name, change := range map[string]func(*Request){
		"default":       func(r *Request) { r.Repeats = 1 },
		"full scale":    func(r *Request) { r.Repeats, r.LevelDBFS = 1, 0 },
		"long and fast": func(r *Request) { r.RateHz, r.SweepS, r.Repeats, r.ToHz = 96000, 6, 1, 40000 },
		"shaped":        func(r *Request) { r.Repeats, r.Shape = 1, []Knot{{20, 1}, {500, 0.4}, {3000, 3}, {20000, 0.4}} },
		"steep":         func(r *Request) { r.Repeats, r.Shape = 1, steep },
	} {
		t.Run(name, func(t *testing.T) {
			s := mustDesign(t, change)
			c := s.Course()
			near := 0
			for n, got := range s.Sweep()[:s.SweepSamples] {
				v := float64(s.Amplitude()*s.fade(n)) * sinCycles(s.phase(c, n, portableExp))
				if want := quantise(fullScale * v); got != want {
					t.Fatalf("sample %d: %.10g, by the portable functions %.10g", n, got, want)
				}
				if steps := fullScale * v; math.Abs(steps-math.Floor(steps)-0.5) < 1e-3 {
					near++
				}
			}
			if near < 50 {
				t.Errorf("only %d samples lie close to the border between two steps", near)
			}
		})
	}
}
