// Package held keeps evaluations of coil folders in memory.
package held

import (
	"context"
	"slices"
	"sync"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
)

// Evaluations keeps the coils that were evaluated last in memory, so that what
// follows from them is there at once. Each coil is evaluated once at a time. Fits take
// all cores and wait for each other elsewhere; who asks about one coil does not wait
// for another.
type Evaluations struct {
	most    int
	program string

	mu   sync.Mutex
	held []*evaluation.Evaluation // the latest last
	busy map[string]*turn         // by folder
}

// turn is had by one at a time.
type turn struct {
	taken   chan struct{} // holds one while it is
	wanting int           // who has it or waits for it
}

// New holds at most as many evaluations, made by program.
func New(most int, program string) *Evaluations {
	return &Evaluations{most: most, program: program, busy: map[string]*turn{}}
}

// wait waits until nobody else evaluates the coil in dir, and returns what ends the turn.
func (s *Evaluations) wait(ctx context.Context, dir string) (end func(), err error) {
	s.mu.Lock()
	t := s.busy[dir]
	if t == nil {
		t = &turn{taken: make(chan struct{}, 1)}
		s.busy[dir] = t
	}
	t.wanting++
	s.mu.Unlock()
	leave := func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		if t.wanting--; t.wanting == 0 {
			delete(s.busy, dir)
		}
	}
	select {
	case t.taken <- struct{}{}:
		return func() { <-t.taken; leave() }, nil
	case <-ctx.Done():
		leave()
		return nil, ctx.Err()
	}
}

// KeepOnly drops what is held of coils that are not in dirs any more.
func (s *Evaluations) KeepOnly(dirs []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.held = slices.DeleteFunc(s.held, func(e *evaluation.Evaluation) bool {
		return !slices.Contains(dirs, e.Folder.Dir)
	})
}

// Get is the evaluation of the coil in dir as it is now, with the options of its
// last fit.
func (s *Evaluations) Get(ctx context.Context, dir string) (*evaluation.Evaluation, error) {
	return s.Make(ctx, dir, evaluation.Options{AsLast: true, Fit: fit.Options{Advise: true}})
}

// Before is the last evaluation of the coil in dir that is held; nil: none is.
func (s *Evaluations) Before(dir string) *evaluation.Evaluation {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.held, func(e *evaluation.Evaluation) bool { return e.Folder.Dir == dir })
	if i < 0 {
		return nil
	}
	e := s.held[i]
	s.held = append(slices.Delete(s.held, i, i+1), e)
	return e
}

// Make evaluates the coil in dir, with its circuit, unless that was just done.
func (s *Evaluations) Make(ctx context.Context, dir string, o evaluation.Options) (*evaluation.Evaluation, error) {
	end, err := s.wait(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer end()
	o.Circuit, o.Before, o.Fit.Program = true, s.Before(dir), s.program
	e, err := evaluation.Coil(ctx, dir, o)
	if err != nil {
		return nil, err
	}
	s.hold(e)
	return e, nil
}

// hold keeps e in place of an earlier evaluation of its coil.
func (s *Evaluations) hold(e *evaluation.Evaluation) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.held = append(slices.DeleteFunc(s.held,
		func(f *evaluation.Evaluation) bool { return f.Folder.Dir == e.Folder.Dir }), e)
	s.held = slices.Clone(s.held[max(0, len(s.held)-s.most):])
}

// Contradictions say what is wrong with what is stated of a take, as
// evaluation.Contradictions do. What was read and estimated for that is held, so that the
// fit that follows does not do it again.
func (s *Evaluations) Contradictions(ctx context.Context, folder *capture.Folder, take string) ([]string, error) {
	said, seen, err := evaluation.Contradictions(ctx, folder, take, s.Before(folder.Dir))
	if err != nil {
		return nil, err
	}
	if _, estimated := seen.Input(take); estimated {
		s.hold(seen)
	}
	return said, nil
}
