package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"sync"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/report/data"
)

// fitAll says how the coils below a folder are fitted.
type fitAll struct {
	force bool // fresh ones too
	// options of every coil; nil: those of the coil's last fit.
	options *fit.Options
}

// fittedCoil is how one coil of a run over many came out.
type fittedCoil struct {
	Folder string `json:"folder"`
	State  string `json:"state"` // one of the states below
	Why    string `json:"why,omitempty"`
}

// The states of a fittedCoil.
const (
	stateFitted  = "fitted"
	stateFresh   = "fresh" // as it was: nothing has changed since the last fit
	stateUnfit   = "unfit" // fitted or fresh, without takes that are unfit
	stateNoTake  = "no take"
	stateFailed  = "failed"
	statePending = "not reached" // the run was interrupted
)

// run fits every coil at and below root, on all cores. Each result is written
// as soon as it is there, so that an interrupted run goes on where it stopped
// when it is started again. A coil that cannot be fitted does not stop the
// others.
func (f fitAll) run(ctx context.Context, c *console, root string) ([]fittedCoil, error) {
	dirs, unreadable, err := capture.FindFolders(ctx, root)
	if err != nil {
		return nil, err
	}
	for _, err := range unreadable {
		c.warn("%v", err)
	}
	if len(dirs) == 0 {
		return nil, fmt.Errorf("there is no coil at or below %s: make one with 'coilsweep new'", root)
	}
	coils := make([]fittedCoil, len(dirs))
	for i, dir := range dirs {
		coils[i] = fittedCoil{Folder: dir, State: statePending}
	}
	bar := newCounter(c.err, "coils", len(dirs))
	work := make(chan int)
	var one sync.Mutex // the console
	var wait sync.WaitGroup
	done := 0
	for range min(runtime.GOMAXPROCS(0), len(dirs)) {
		wait.Go(func() {
			for i := range work {
				var said []string
				hear := func(text string) { said = append(said, text) }
				coil := f.fit(ctx, &console{out: io.Discard, err: io.Discard, hear: hear}, dirs[i])
				one.Lock()
				coils[i] = coil
				done++
				f.tell(c, bar, coil, said)
				bar.show(done)
				one.Unlock()
			}
		})
	}
	for i := range dirs {
		if ctx.Err() != nil {
			break
		}
		work <- i
	}
	close(work)
	wait.Wait()
	bar.end()
	return coils, nil
}

// tell prints what is worth saying of one coil, above the bar.
func (f fitAll) tell(c *console, bar *counter, coil fittedCoil, said []string) {
	if said == nil && coil.Why == "" {
		return
	}
	if bar.terminal {
		bar.end()
		bar.shown = -1 // the bar is to be drawn again
	}
	for _, text := range said {
		c.warn("%s: %s", coil.Folder, text)
	}
	if coil.Why != "" && coil.State != statePending {
		c.warn("%s: %s: %s", coil.Folder, coil.State, coil.Why)
	}
}

// fit fits one coil, unless its result is fresh.
func (f fitAll) fit(ctx context.Context, c *console, dir string) fittedCoil {
	coil := fittedCoil{Folder: dir}
	fail := func(err error) fittedCoil {
		coil.State, coil.Why = stateFailed, err.Error()
		var unfit unfitError
		switch {
		case ctx.Err() != nil:
			coil.State = statePending
		case errors.As(err, &unfit):
			coil.State = stateUnfit
		}
		return coil
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return fail(err)
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return fail(err)
	}
	if len(held.Takes) == 0 {
		coil.State = stateNoTake
		return coil
	}
	last, _ := loadResult(dir) // a damaged one is made anew
	options := lastOptions(dir)
	if f.options != nil {
		options = *f.options
	}
	if !f.force && last != nil && len(last.Stale(held, programName())) == 0 && last.Record.Options.Equal(options.Record()) {
		coil.State = stateFresh
		if left := leftOut(last); left != "" {
			coil.State, coil.Why = stateUnfit, "left out: "+left
		}
		return coil
	}
	a, err := analyseFolder(ctx, c, dir, options)
	if err != nil {
		return fail(err)
	}
	if err := a.save(data.CSVOptions{}); err != nil {
		return fail(err)
	}
	coil.State = stateFitted
	if err := a.unfitness(); err != nil {
		return fail(err)
	}
	return coil
}

// leftOut names the takes that a result was made without.
func leftOut(r *fit.Result) string {
	used := map[string]bool{}
	for _, t := range r.Takes {
		used[t.Name] = t.Used
	}
	var names []string
	for _, t := range r.Record.Takes {
		if !used[t.Name] {
			names = append(names, fmt.Sprintf("take %q", t.Name))
		}
	}
	return strings.Join(names, ", ")
}

// fitAllOutcome is the line under a run and the error that makes its exit
// status: failures before unfit data.
func fitAllOutcome(coils []fittedCoil) (string, error) {
	count := map[string]int{}
	for _, coil := range coils {
		count[coil.State]++
	}
	var parts []string
	for _, state := range []string{stateFitted, stateFresh, stateUnfit, stateNoTake, stateFailed, statePending} {
		if n := count[state]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, state))
		}
	}
	summary := fmt.Sprintf("%d coils: %s", len(coils), strings.Join(parts, ", "))
	switch {
	case count[statePending] > 0:
		return summary, fmt.Errorf("interrupted: %d of %d coils were not reached; run it again to go on", count[statePending], len(coils))
	case count[stateFailed] > 0:
		return summary, fmt.Errorf("%d of %d coils could not be fitted", count[stateFailed], len(coils))
	case count[stateUnfit] > 0:
		return summary, unfitError{fmt.Errorf("%d of %d coils have takes that are not fit for use", count[stateUnfit], len(coils))}
	}
	return summary, nil
}
