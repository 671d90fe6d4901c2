// Package record makes takes: it plays a stimulus, records what the coil
// answers and keeps it in a coil folder, watches the recording while it grows,
// and imports recordings that were made elsewhere.
package record

import (
	"context"

	"coilsweep/capture"
)

// Recorder plays and records at the same time. Implementations: a sound card
// (capture/soundcard) and the simulated bench (capture/virtual).
type Recorder interface {
	// Format is the rate and the channel count of what Record delivers:
	// channel 1 the coil, channel 2 (if there) the reference.
	Format() Format
	// Describe says which device and settings are used, for take.toml.
	Describe() capture.Bench
	// Record plays play (mono, full scale ±1) once, then silence, and hands
	// recorded frames to sink in blocks (interleaved, valid only during the
	// call) until at least frames frames were delivered. It returns early
	// with ctx.Err() when ctx ends and with sink's error when sink fails;
	// frames delivered before that stay delivered. A device that stops
	// delivering gives an error within 3 s.
	Record(ctx context.Context, play []float32, frames int, sink func(block []float32) error) (Session, error)
}

// Format is the shape of recorded audio.
type Format struct {
	RateHz   int
	Channels int
}

// Session is what a Recorder has to tell about one run. It is valid also
// beside an error.
type Session struct {
	// Xruns lists over- and underruns that the device reported.
	Xruns []capture.Xrun
}
