package excite

import (
	"math"
	"slices"
	"testing"
)

func TestVariations(t *testing.T) {
	r := DefaultRequest()
	r.SweepS, r.Repeats = 0.35, 5
	s, err := Design(r)
	if err != nil {
		t.Fatal(err)
	}
	fewer, err := s.Prefix(2)
	if err != nil {
		t.Fatal(err)
	}
	if err := fewer.Validate(); err != nil {
		t.Error(err)
	}
	if n := s.RepeatStart(2); fewer.TotalSamples() != n || !slices.Equal(fewer.Samples(), s.Samples()[:n]) {
		t.Error("two repeats are not the beginning of five")
	}
	if all, err := s.Prefix(9); err != nil || all.Repeats != 5 || all.TailSamples != s.TailSamples {
		t.Errorf("nine of five repeats are %+v, %v", all, err)
	}
	quiet, err := s.AtLevel(-32)
	if err != nil {
		t.Fatal(err)
	}
	if err := quiet.Validate(); err != nil {
		t.Error(err)
	}
	if got := math.Log10(quiet.Amplitude()/s.Amplitude()) * 20; math.Abs(got - -20) > 1e-9 {
		t.Errorf("20 dB less is %.3f dB", got)
	}
	if _, err := s.Prefix(0); err == nil {
		t.Error("no repeat at all")
	}
	if _, err := s.AtLevel(3); err == nil {
		t.Error("over full scale")
	}
}
