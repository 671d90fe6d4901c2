package soundcard

import (
	"math/bits"
	"sync/atomic"
)

// ring is a queue of samples between exactly one writer and one reader. It
// neither locks nor allocates after newRing. Frames go in and out whole.
type ring struct {
	samples  []float32 // length a power of two, and a multiple of channels
	channels int
	// Samples put and taken since the beginning; the difference is what is
	// in the ring. Each is stored by one side only.
	put, taken atomic.Uint64
}

// newRing makes a ring for at least frames frames of 1 or 2 channels.
func newRing(frames, channels int) *ring {
	size := 1 << bits.Len(uint(max(frames*channels, 2)-1))
	return &ring{samples: make([]float32, size), channels: channels}
}

// space is the number of frames that write can take now.
func (r *ring) space() int {
	return (len(r.samples) - int(r.put.Load()-r.taken.Load())) / r.channels
}

// write copies frames frames from in, interleaved with stride channels: those
// at the offsets pick, one for each channel of the ring. The caller has made
// sure of space and of the length of in. Writer's side.
func (r *ring) write(in []float32, frames, stride int, pick []int) {
	put := r.put.Load()
	mask := uint64(len(r.samples) - 1)
	for f := range frames {
		frame := in[f*stride : f*stride+stride]
		for _, channel := range pick {
			r.samples[put&mask] = frame[channel]
			put++
		}
	}
	r.put.Store(put)
}

// read copies into dst as many whole frames as there are and fit, and returns
// the number of samples. Reader's side.
func (r *ring) read(dst []float32) int {
	taken := r.taken.Load()
	n := min(int(r.put.Load()-taken), len(dst)/r.channels*r.channels)
	at := int(taken) & (len(r.samples) - 1)
	first := copy(dst[:n], r.samples[at:])
	copy(dst[first:n], r.samples)
	r.taken.Store(taken + uint64(n))
	return n
}
