package response

import (
	"reflect"
	"sync"

	"coilsweep/excite"
)

// Estimator estimates the responses of takes, also side by side. What the takes of one
// stimulus have in common it works out once, and it uses its memory again. The zero
// value is ready.
type Estimator struct {
	guard  sync.Mutex
	of     excite.Stimulus
	masked *masked // of that stimulus; nil: of none yet
	idle   []*workspace
	gaters map[int]*gater // by length
}

// maskedOf is the masked inverse of a stimulus.
func (e *Estimator) maskedOf(stim excite.Stimulus) (*masked, error) {
	e.guard.Lock()
	defer e.guard.Unlock()
	// All repeats are alike.
	stim.Repeats, stim.LeadInSamples, stim.TailSamples, stim.SHA256 = 0, 0, 0, ""
	if e.masked != nil && reflect.DeepEqual(e.of, stim) {
		return e.masked, nil
	}
	m, err := newMasked(stim.Sweep(), float64(stim.RateHz), stim.FromHz, stim.ToHz, stim.Course().Weight)
	if err != nil {
		return nil, err
	}
	e.of, e.masked, e.idle = stim, m, nil // those are of other stimuli
	return m, nil
}

// workspace is the memory of one estimate from periods of so many samples.
type workspace struct {
	in              inverse
	spectra         spectra
	coil, reference []float64 // impulse responses
	gater           gaterWork
}

func newWorkspace(samples int) *workspace {
	lines := samples/2 + 1
	return &workspace{
		in:      inverse{coilWeight: make([]complex128, lines), coilPower: make([]float64, lines)},
		spectra: spectra{y: make([]complex128, lines), yy: make([]float64, lines), y1: make([]complex128, lines)},
	}
}

// workspace is one that nothing else uses.
func (e *Estimator) workspace(samples int) *workspace {
	e.guard.Lock()
	defer e.guard.Unlock()
	for i, w := range e.idle {
		if len(w.spectra.y) == samples/2+1 {
			e.idle = append(e.idle[:i], e.idle[i+1:]...)
			return w
		}
	}
	return newWorkspace(samples)
}

// leave hands a workspace back.
func (e *Estimator) leave(w *workspace) {
	e.guard.Lock()
	defer e.guard.Unlock()
	e.idle = append(e.idle, w)
}

// cleared is the workspace's spectra, of no repeat yet.
func (w *workspace) cleared(reference bool) *spectra {
	s, n := &w.spectra, len(w.spectra.y)
	s.repeats, s.gain, s.delayS = 0, nil, nil
	clear(s.y)
	clear(s.yy)
	s.v, s.v1, s.vv, s.yv = nil, nil, nil, nil
	if reference {
		s.v, s.v1 = make([]complex128, n), make([]complex128, n)
		s.vv, s.yv = make([]float64, n), make([]complex128, n)
	}
	return s
}

// gater is that of a length.
func (e *Estimator) gater(length int) *gater {
	e.guard.Lock()
	defer e.guard.Unlock()
	g := e.gaters[length]
	if g == nil {
		if e.gaters == nil {
			e.gaters = map[int]*gater{}
		}
		g = newGater(length)
		e.gaters[length] = g
	}
	return g
}
