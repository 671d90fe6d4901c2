// Package capture plays a stimulus, records what the coil answers, and keeps
// it: recordings, takes on disk, coil folders, and what the audio itself says
// of its quality.
package capture

import "context"

// Recorder plays and records at the same time. Implementations: a sound card
// (capture/soundcard) and the simulated bench (capture/virtual).
type Recorder interface {
	// Format is the rate and the channel count of what Record delivers:
	// channel 1 the coil, channel 2 (if there) the reference.
	Format() Format
	// Describe says which device and settings are used, for take.toml.
	Describe() Bench
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
	Xruns []Xrun
}

// Xrun is a place in the recording where the device says that samples were
// lost or late.
type Xrun struct {
	Frame int64  `toml:"frame"` // position in recorded frames
	Kind  string `toml:"kind"`  // "input-overflow", "output-underflow", ...
}
