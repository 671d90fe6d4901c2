package workbench

import (
	"coilsweep/capture"
	"coilsweep/capture/device"
)

// job are the options of all that is made at the bench.
type job struct {
	Options
	Program string // what it is said to be made by
	Take    Take
	Bench   Bench
}

func newJob(program string) job {
	return job{Program: program, Take: defaultTake(), Bench: defaultBench()}
}

// begin takes from the bench of dir what was not given, and refuses options that
// do not go together.
func (j *job) begin(dir string) error {
	if err := j.Bench.check(j.Options); err != nil {
		return err
	}
	return j.Bench.apply(j.Options, dir, false)
}

// directPlan is a recording without a coil that is about to be made.
type directPlan struct {
	Source        device.Source
	take          capture.Take
	outputChannel int
	benchPath     string
}

func (j *job) directPlan(take capture.Take, wired wiring) directPlan {
	return directPlan{j.Bench.source(take, &j.Take, wired), take, j.Bench.OutputChannel, j.Bench.found.Path}
}

// beginDirect is begin for a take without a coil, whose result is kept with the
// bench: the error wraps ErrNoBench where there is none.
func (j *job) beginDirect(dir, reference string, s *Stimulus) (take capture.Take, err error) {
	if err = j.begin(dir); err != nil {
		return take, err
	}
	if j.Bench.found == nil {
		return take, ErrNoBench
	}
	take = direct(reference, j.Program)
	take.Stimulus, err = s.design()
	return take, err
}
