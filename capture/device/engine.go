// Package device owns the sound device of a bench while a program stays: it
// listens while nothing is asked of it, runs one job at a time, shows levels all
// the while, and lives through the loss of the device.
package device

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
)

// Source opens what plays and records.
type Source struct {
	// Key tells sources apart: a device that is open for a source is used
	// again for one with the same key.
	Key string
	// Open opens the device; release gives it back and may be nil. It may take
	// long: where the engine cannot wait it releases what comes later.
	Open func() (rec record.Recorder, release func() error, err error)
}

// Phase is what the engine is at.
type Phase string

// The phases.
const (
	Off       Phase = "off"       // there is nothing to listen to
	Opening   Phase = "opening"   // a device is being opened
	Listening Phase = "listening" // sound comes in, nothing is played
	Working   Phase = "working"   // a job runs
	Lost      Phase = "lost"      // the device failed, and is tried again
)

// State is what the engine is at, for showing.
type State struct {
	Phase Phase
	// Job is the job that runs or waits for its device; nil: none.
	Job      *Job
	Stopping bool // the job was told to end
	// Since is when phase or job changed last.
	Since time.Time
	// Err is why the device is lost; empty in other phases.
	Err string
	// Device describes the device that is open; zero: none is.
	Device capture.Bench
}

// Job is something that needs the device for itself.
type Job struct {
	Name string // for users: "take c470"
	What any    // the caller's, carried along
	// Source is where it runs; nil: the source listened to.
	Source *Source
	// Do is the job. rec is good until Do returns, and its sound reaches the
	// meters. ctx ends by Stop and with the engine. A panic is an error.
	Do func(ctx context.Context, rec record.Recorder) error
	// Done is told, once, how the job ended: by the error of Do, of a panic
	// or of opening the device; nil if all went well. By then another job may
	// be started. It has a goroutine of its own, which Run waits for. It may
	// be nil.
	Done func(error)
}

// BusyError is the refusal of a job because there is one.
type BusyError struct{ Running Job }

func (e *BusyError) Error() string {
	return fmt.Sprintf("the bench is busy with %s: wait for its end, or stop it", e.Running.Name)
}

// ErrEnded is the refusal of a job because the engine does not run any more.
var ErrEnded = errors.New("the bench was given up: start the program again")

// Levels are those of all channels over about a thirtieth of a second.
type Levels struct {
	Seconds  float64        // since the engine was made
	Channels []record.Meter // the coil first
}

// Listener hears what the engine has to tell. Its functions may be nil. They
// are called one at a time. One that is slow holds up the others, but never a
// recording: every state is told, levels and silences are not told late.
type Listener struct {
	State func(State)
	// Meters is called thirty times a second while sound comes in, whether
	// listening or in a job, and however long the blocks are that come in.
	Meters func(Levels)
	// Silence is called once a second while listening, with what channel 1
	// holds.
	Silence func(quality.Silence)
}

// retryEvery is how often a lost device is tried.
const retryEvery = 2 * time.Second

// Engine owns the device of a bench. Make it by New; its methods are safe for
// concurrent use.
type Engine struct {
	news *news

	mu        sync.Mutex
	state     State
	source    *Source            // listened to
	job       *Job               // accepted and not ended
	jobCtx    context.Context    // ends by stopJob
	stopJob   context.CancelFunc // of job
	interrupt context.CancelFunc // ends what is done without a job
	ended     bool

	// Of Run alone.
	device  *device
	opening *opening
	waitFor sync.WaitGroup
}

// New makes an engine that has nothing to listen to yet.
func New(l Listener) *Engine {
	e := &Engine{news: &news{listener: l, made: time.Now(), wake: make(chan struct{}, 1)}, interrupt: func() {}}
	e.state = State{Phase: Off, Since: time.Now()}
	return e
}

// Listen says what to listen to while there is no job; nil: nothing. It takes
// effect at once, or after the job that runs.
func (e *Engine) Listen(s *Source) {
	e.mu.Lock()
	defer e.mu.Unlock()
	same := s != nil && e.source != nil && s.Key == e.source.Key
	e.source = s
	if !same || e.state.Phase == Lost {
		e.interrupt()
	}
}

// Start starts a job and returns at once. The error is a *BusyError where
// there is a job already, or ErrEnded. Where the job's device is open it begins
// as soon as listening has ended, a few milliseconds later; its first sound
// comes by the device's next block (see soundcard.Options.KeepRunning).
func (e *Engine) Start(j Job) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.ended {
		return ErrEnded
	}
	if e.job != nil {
		return &BusyError{*e.job}
	}
	e.job = &j
	e.jobCtx, e.stopJob = context.WithCancel(context.Background())
	e.change(func(s *State) { s.Job = &j })
	e.interrupt()
	return nil
}

// Stop tells the job to end; false where there is none. What the job recorded
// is the job's to keep.
func (e *Engine) Stop() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.job == nil {
		return false
	}
	e.stopJob()
	e.change(func(s *State) { s.Stopping = true })
	return true
}

// State is what the engine is at.
func (e *Engine) State() State {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.state
}

// change changes the state and tells of it; e.mu is held.
func (e *Engine) change(f func(*State)) {
	was := e.state
	f(&e.state)
	now := e.state
	if now.Phase != was.Phase || now.Job != was.Job {
		e.state.Since = time.Now()
	} else if now.Stopping == was.Stopping && now.Err == was.Err && now.Device.InputDevice == was.Device.InputDevice && now.Device.OutputDevice == was.Device.OutputDevice {
		return
	}
	e.news.state(e.state)
}

// set is change for who does not hold e.mu.
func (e *Engine) set(f func(*State)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.change(f)
}
