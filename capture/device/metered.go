package device

import (
	"context"
	"errors"

	"coilsweep/capture/fault"
	"coilsweep/capture/record"
)

// jobBacklog is how many blocks may wait for a job that is busy. A sound card's
// are 10 ms or longer, and it can keep some seconds itself.
const jobBacklog = 1024

// metered is a Recorder whose sound reaches the meters, too. It reads from the
// device in a goroutine of its own, so that a sink that is busy for some
// seconds starves neither meters nor recording.
type metered struct {
	record.Recorder
	news    *news
	backlog int   // blocks that may wait for the sink
	failure error // of the device
}

// errUnwanted ends a recording of which no more is wanted.
var errUnwanted = errors.New("no more is wanted")

// Record implements record.Recorder.
func (m *metered) Record(ctx context.Context, play []float32, frames int,
	sink func(block []float32) error) (session record.Session, err error) {
	inner, stop := context.WithCancel(ctx)
	blocks := make(chan []float32, m.backlog)
	var failure error
	go func() {
		defer close(blocks)
		defer fault.Catch(&failure, "the sound device broke off")
		levels := slicer{format: m.Format(), news: m.news}
		session, failure = m.Recorder.Record(inner, play, frames, func(block []float32) error {
			levels.add(block)
			select {
			case blocks <- append([]float32(nil), block...):
				return nil
			case <-inner.Done():
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			return errUnwanted
		})
	}()
	// Also where sink panics.
	defer func() {
		stop()
		for range blocks {
		}
	}()
	for block := range blocks {
		if err := sink(block); err != nil {
			stop()
			for range blocks {
			}
			return session, err
		}
	}
	if failure != nil && ctx.Err() == nil {
		m.failure = failure
	}
	return session, failure
}
