package capture

import (
	"context"
	"errors"
	"math"
	"testing"

	"coilsweep/excite"
)

// longPlan is a take with up to twelve short sweeps.
func longPlan(t testing.TB, name string) Take {
	t.Helper()
	p := plan(t, name)
	r := excite.DefaultRequest()
	r.FromHz, r.ToHz, r.SweepS, r.Repeats = 100, 16000, 0.25, 12
	r.LeadInS, r.GapS, r.TailS = 0.5, 0.1, 0.1
	s, err := excite.Design(r)
	if err != nil {
		t.Fatal(err)
	}
	p.Stimulus = s
	return p
}

func TestRunUntilItIsEnough(t *testing.T) {
	f := newFolder(t)
	p := longPlan(t, "bare")
	var asked []int
	take, err := RunUntil(t.Context(), mono(), f, p, func(_ context.Context, r Recording, t2 Take) (int, error) {
		n := t2.Stimulus.Repeats
		asked = append(asked, n)
		if got := len(r.Samples[0]); got < t2.Stimulus.TotalSamples() {
			t.Errorf("%d samples at %d repeats", got, n)
		}
		if flags := t2.Unfit(); flags != nil {
			t.Errorf("unfit at %d repeats: %v", n, flags)
		}
		if n < 5 {
			return n + 1, nil
		}
		return 0, nil
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(asked) == 0 || asked[0] != 2 || asked[len(asked)-1] != 5 {
		t.Errorf("asked at %v", asked)
	}
	if s := take.Stimulus; s.Repeats != 5 || s.TailSamples != 0 || s.Validate() != nil {
		t.Errorf("the take has %d repeats, tail %d, %v", s.Repeats, s.TailSamples, s.Validate())
	}
	if unfit := take.Unfit(); unfit != nil || len(take.Quality.DamagedRepeats) > 0 || math.Abs(take.Quality.PeakDBFS - -12) > 0.1 {
		t.Errorf("quality %+v", take.Quality)
	}
	onDisk, err := f.ReadTake("bare")
	if err != nil {
		t.Fatal(err)
	}
	r, err := f.Audio(onDisk)
	if err != nil {
		t.Fatal(err)
	}
	if n, most := r.Frames(), p.Stimulus.RepeatStart(6)+10000; onDisk.Stimulus.Repeats != 5 || n > most {
		t.Errorf("%d repeats in %d frames, want 5 in less than %d", onDisk.Stimulus.Repeats, n, most)
	}
}

func TestRunUntilHasABound(t *testing.T) {
	p := longPlan(t, "bare")
	last := 0
	take, err := RunUntil(t.Context(), mono(), newFolder(t), p, func(_ context.Context, _ Recording, t2 Take) (int, error) {
		last = t2.Stimulus.Repeats
		return 2 * last, nil
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if take.Stimulus.SHA256 != p.Stimulus.SHA256 || last != 8 {
		t.Errorf("%d repeats, asked last at %d; want 12 and 8", take.Stimulus.Repeats, last)
	}
}

func TestRunUntilSomethingFails(t *testing.T) {
	f := newFolder(t)
	broken := errors.New("the judge fell asleep")
	_, err := RunUntil(t.Context(), mono(), f, longPlan(t, "bare"), func(context.Context, Recording, Take) (int, error) {
		return 0, broken
	}, nil)
	var partial *PartialError
	if !errors.Is(err, broken) || !errors.As(err, &partial) || !partial.HasSweep {
		t.Fatalf("%v", err)
	}
	// Silence is never asked about: there is no repeat in it.
	silent := mono()
	silent.gain = 0
	take, err := RunUntil(t.Context(), silent, f, longPlan(t, "silent"), func(context.Context, Recording, Take) (int, error) {
		t.Error("asked about silence")
		return 0, nil
	}, nil)
	if err != nil || take.Unfit() == nil {
		t.Errorf("silence: %+v, %v", take.Quality, err)
	}
}
