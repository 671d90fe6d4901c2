package evaluation

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"coilsweep/capture"
	"coilsweep/capture/fault"
	"coilsweep/fit"
)

// Each does something for every folder, on all cores, and hands over the
// outcomes, one at a time, in the order in which they are done. Folders that are
// left where ctx ends are not begun.
func Each[T any](ctx context.Context, dirs []string, do func(dir string) T, done func(i int, v T)) {
	var next atomic.Int64
	var one sync.Mutex
	fault.Parallel(min(runtime.GOMAXPROCS(0), len(dirs)), func() {
		for i := int(next.Add(1)) - 1; i < len(dirs) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
			v := do(dirs[i])
			one.Lock()
			done(i, v)
			one.Unlock()
		}
	})
}

// State is the outcome of one coil in a run over many.
type State string

// The states.
const (
	Fitted     State = "fitted"
	UpToDate   State = "up to date" // nothing has changed since the last fit
	NotUsable  State = "not usable" // fitted or up to date, with unusable takes or contradicted facts
	NoTake     State = "no take"
	Failed     State = "failed"
	NotReached State = "not reached" // the run was interrupted
)

// States are in the order in which they are counted.
func States() []State {
	return []State{Fitted, UpToDate, NotUsable, NoTake, Failed, NotReached}
}

// Refreshed is a coil of a run over many.
type Refreshed struct {
	Folder string      `json:"folder"`
	State  State       `json:"state"`
	Why    string      `json:"why,omitempty"`
	Of     *Evaluation `json:"-"` // nil where it failed, or was not begun
}

// Refresh evaluates the coil folder dir and has save keep the result, unless one
// with the same options is up to date; nil options are those of the last fit.
func Refresh(ctx context.Context, dir, program string, options *fit.Options, anew bool,
	save func(*Evaluation) error) Refreshed {
	r := Refreshed{Folder: dir, State: Fitted}
	fail := func(err error) Refreshed {
		var unfit *capture.UnfitError
		var none *NoTakeError
		r.State, r.Why = Failed, err.Error()
		switch {
		case ctx.Err() != nil:
			r.State = NotReached
		case errors.As(err, &unfit):
			r.State = NotUsable
		case errors.As(err, &none):
			r.State, r.Why = NoTake, ""
		}
		return r
	}
	o := Options{AsLast: options == nil, Anew: true}
	if options != nil {
		o.Fit = *options
	}
	last, _ := Load(dir)
	if options == nil && last != nil && last.Record != nil {
		if all, err := last.Record.Options.Options(); err == nil {
			o.Fit = all
		}
	}
	o.Fit.Program = program
	if last != nil && last.Record != nil && !anew && last.Record.Options.Equal(o.Fit.Record()) {
		folder, err := capture.OpenFolder(dir)
		if err != nil {
			return fail(err)
		}
		held, err := folder.Fingerprint()
		if err != nil {
			return fail(err)
		}
		if len(held.Takes) > 0 && len(last.Stale(held)) == 0 {
			r.State = UpToDate
			if err := (&Evaluation{Result: last, LeftOut: leftOut(last)}).Unfitness(); err != nil {
				r.State, r.Why = NotUsable, err.Error()
			}
			return r
		}
	}
	var err error
	if r.Of, err = Coil(ctx, dir, o); err != nil {
		return fail(err)
	}
	if err := cmp.Or(save(r.Of), r.Of.Unfitness()); err != nil {
		return fail(err)
	}
	return r
}

// StatesOf are the folders of the coil in dir and of its later states, those that have a
// take, in the order of time.
func StatesOf(dir string) ([]string, error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	below, err := folder.States()
	if err != nil {
		return nil, err
	}
	var states []Known
	for _, one := range append([]string{dir}, below...) {
		k, err := Glance(one)
		if err != nil {
			return nil, err
		}
		if k.Takes > 0 {
			states = append(states, k)
		}
	}
	if len(states) < 2 {
		return nil, fmt.Errorf("%s has no two states with takes to compare: record a take of the coil in another state", dir)
	}
	slices.SortStableFunc(states, func(a, b Known) int { return a.Measured.Compare(b.Measured) })
	var dirs []string
	for _, k := range states {
		dirs = append(dirs, k.Folder)
	}
	return dirs, nil
}

// Folders are the coil folders that names mean: each itself, or all below it,
// each once and in lexical order. Folders that cannot be read are in unreadable.
func Folders(ctx context.Context, names []string) (dirs []string, unreadable []error, err error) {
	for _, name := range names {
		if _, err := capture.OpenFolder(name); !errors.Is(err, capture.ErrNotFolder) {
			dirs = append(dirs, name) // a broken one is told of later
			continue
		}
		below, bad, err := capture.FindFolders(ctx, name)
		if err != nil {
			return nil, nil, err
		}
		unreadable = append(unreadable, bad...)
		if len(below) == 0 {
			return nil, unreadable, fmt.Errorf("there is no coil at or below %s", name)
		}
		dirs = append(dirs, below...)
	}
	slices.Sort(dirs)
	return slices.Compact(dirs), unreadable, nil
}
