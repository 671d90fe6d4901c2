package device

import (
	"context"
	"errors"

	"coilsweep/capture"
	"coilsweep/capture/fault"
	"coilsweep/capture/record"
)

// device is one that is open.
type device struct {
	key      string
	recorder record.Recorder
	release  func() error
}

// opening is a device on its way.
type opening struct {
	key  string
	done chan opened // takes one
}

type opened struct {
	device *device
	err    error
}

// open is the device of a source: the one that is open if it has the key, else
// it is opened anew. Where ctx ends first it stays on its way, for the next
// call.
func (e *Engine) open(ctx context.Context, s *Source) (*device, error) {
	if e.device != nil && e.device.key == s.Key {
		return e.device, nil
	}
	e.giveBack()
	e.set(func(st *State) {
		st.Device = capture.Bench{}
		if st.Phase != Lost {
			st.Phase = Opening
		}
	})
	if e.opening != nil && e.opening.key != s.Key {
		e.abandon()
	}
	if e.opening == nil {
		o := &opening{s.Key, make(chan opened, 1)}
		e.opening = o
		go func() { o.done <- openSource(s) }()
	}
	select {
	case got := <-e.opening.done:
		e.opening, e.device = nil, got.device
		return got.device, got.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// openSource calls Open; its panic is an error.
func openSource(s *Source) (o opened) {
	defer fault.Catch(&o.err, "opening the sound device broke off")
	rec, release, err := s.Open()
	if err == nil && rec == nil {
		err = errors.New("the sound device was not opened")
	}
	if err != nil {
		return opened{err: err}
	}
	return opened{device: &device{s.Key, rec, release}}
}

// abandon gives back a device on its way, whenever it comes.
func (e *Engine) abandon() {
	if o := e.opening; o != nil {
		e.opening = nil
		go func() { (<-o.done).device.close() }()
	}
}

// giveBack gives the open device back, if there is one.
func (e *Engine) giveBack() {
	e.device.close()
	e.device = nil
}

// close releases d, which may be nil. An error of it means that the sound
// system hangs: opening it again will tell.
func (d *device) close() {
	if d != nil && d.release != nil {
		d.release()
	}
}
