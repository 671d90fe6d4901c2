package align

import "testing"

// BenchmarkAlign takes the default stimulus, 14 s at 48 kHz.
func BenchmarkAlign(b *testing.B) {
	y, stim, _ := scene{f0: 5000, q: 3, snrDB: 40, humDB: 10, delay: 4000.3}.record(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Align(y, stim); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPeriods has a drift, so that all is interpolated.
func BenchmarkPeriods(b *testing.B) {
	y, stim, _ := scene{f0: 5000, q: 3, snrDB: 40, driftPPM: 100, delay: 4000.3}.record(b)
	a, err := Align(y, stim)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := Periods(y, stim, a); err != nil {
			b.Fatal(err)
		}
	}
}
