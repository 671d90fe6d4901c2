package joint

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
)

// Snapshot holds the ends of the searches of a fit. Restore works everything else
// out again from it.
type Snapshot struct {
	// Ends of the searches, in the order in which they were made.
	Ends []End
}

// End is where one search ended.
type End struct {
	Form fit.Form
	// X are the parameters, in the order of the joint problem; nil where the
	// search found no minimum.
	X []float64
	// Polarity is 1 or -1 for each take that was used.
	Polarity []float64
	// Widen is the factor by which the u of the data was enlarged, SumSquares the
	// sum of squares at X with it.
	Widen, SumSquares float64
	// Unsettled: the search used up its iterations.
	Unsettled bool
}

// ErrSnapshot: a snapshot is not that of a fit of these takes with these options.
var ErrSnapshot = errors.New("not a snapshot of this fit")

// Snapshot is the input of Restore. It shares no memory with f.
func (f *Fitted) Snapshot() Snapshot {
	s := Snapshot{Ends: slices.Clone(f.a.searches.ends)}
	for i := range s.Ends {
		e := &s.Ends[i]
		e.X, e.Polarity = slices.Clone(e.X), slices.Clone(e.Polarity)
	}
	return s
}

// Restore is Fit without a search: it goes through the same analysis and takes
// the end of each search from the snapshot, at which it evaluates residuals and
// Jacobian. On one machine all that follows from it is that of the fit to the
// last bit. coil, takes and options are those of the fit, but for advice and Monte
// Carlo trials, which change no solution. The error wraps ErrSnapshot where the
// snapshot does not belong to them.
func Restore(coil capture.Coil, takes []Take, snapshot Snapshot, options fit.Options) (*Fitted, error) {
	return fitted(context.Background(), coil, takes, options, searches{ends: snapshot.Ends, known: true})
}

// searches makes the searches of an analysis and keeps where each ended. With
// known set it makes none: ends says where they ended before.
type searches struct {
	ends  []End
	known bool
	next  int   // of the known ends
	err   error // the first known end that does not belong
}

// solve is request.solve.
func (s *searches) solve(ctx context.Context, q request, form fit.Form, starts []circuit.Coil) (*solution, error) {
	if s.known {
		return s.enter(newJoint(form, q, starts[0]), nil)
	}
	found, err := q.solve(ctx, form, starts)
	return s.keep(form, found), err
}

// closer is solution.closer.
func (s *searches) closer(from *solution) (*solution, error) {
	if s.known {
		j := *from.joint
		return s.enter(&j, nil)
	}
	found, err := from.closer()
	return s.keep(from.joint.form, found), err
}

// widen is solution.widened.
func (s *searches) widen(best *solution, w, ownDB float64) (*solution, error) {
	if s.known {
		return s.enter(best.joint.reweighed(w, ownDB), &w)
	}
	found, err := best.widened(w, ownDB)
	return s.keep(best.joint.form, found), err
}

// keep notes where a search ended; found is nil where it failed.
func (s *searches) keep(form fit.Form, found *solution) *solution {
	e := End{Form: form}
	if found != nil {
		e = End{Form: form, X: found.x, Polarity: found.joint.polarity, Widen: found.joint.widen,
			SumSquares: found.sumSquares, Unsettled: found.note == unsettled}
	}
	s.ends = append(s.ends, e)
	return found
}

// enter is the solution of j at the next known end; widen is the factor that it
// must have, if that is known.
func (s *searches) enter(j *joint, widen *float64) (*solution, error) {
	if s.err != nil {
		return nil, s.err
	}
	if s.next == len(s.ends) {
		s.err = fmt.Errorf("%w: it ends after %d searches", ErrSnapshot, s.next)
		return nil, s.err
	}
	e := s.ends[s.next]
	s.next++
	found, err := j.enter(e, widen)
	if err != nil && !errors.Is(err, errNoMinimum) {
		s.err = fmt.Errorf("search %d: %w", s.next, err)
	}
	return found, err
}

// end is the error of known ends that do not belong, or are too many.
func (s *searches) end() error {
	if s.err == nil && s.known && s.next < len(s.ends) {
		return fmt.Errorf("%w: of %d searches %d were made", ErrSnapshot, len(s.ends), s.next)
	}
	return s.err
}

// sameSum is by how much, relative and absolute, a sum of squares may differ
// from what the search found: it comes with or without derivatives, which round
// otherwise.
const sameSum = 1e-6

// enter is the solution at the end of a search that was made before.
func (j *joint) enter(e End, widen *float64) (*solution, error) {
	if e.Form != j.form {
		return nil, fmt.Errorf("%w: it is of another form than %s", ErrSnapshot, j.form.Name())
	}
	if e.X == nil {
		return nil, errNoMinimum
	}
	odd := func(p float64) bool { return p != 1 && p != -1 }
	if len(e.X) != j.n || len(e.Polarity) != len(j.takes) || slices.ContainsFunc(e.Polarity, odd) ||
		!(e.Widen >= 1) || math.IsInf(e.Widen, 0) || widen != nil && e.Widen != *widen {
		return nil, fmt.Errorf("%w: its parameters are not those of this problem", ErrSnapshot)
	}
	j.widen, j.polarity = e.Widen, slices.Clone(e.Polarity)
	s := &solution{joint: j, x: slices.Clone(e.X)}
	s.solver = leastsquares.NewSolver(j.problem())
	if sum := s.solver.Linearize(s.x); !(math.Abs(sum-e.SumSquares) <= sameSum*(1+e.SumSquares)) {
		return nil, fmt.Errorf("%w: the sum of squares is %g, not %g", ErrSnapshot, sum, e.SumSquares)
	}
	if e.Unsettled {
		s.note = unsettled
	}
	s.judge(e.SumSquares)
	return s, nil
}
