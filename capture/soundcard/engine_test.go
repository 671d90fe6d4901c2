package soundcard

import (
	"runtime"
	"slices"
	"testing"

	"coilsweep/capture"
)

// newEngine is an engine for 4 channels in, of which 3 and 1 are recorded, and
// 2 out, of which the second plays.
func newEngine(play []float32, ringFrames int) *engine {
	return &engine{play: play, outStride: 2, outChannel: 1, inStride: 4, pick: []int{2, 0},
		ring: newRing(ringFrames, 2)}
}

// frames makes frames whose channels hold 10·n + channel, n counting from first.
func frames(first, n int) []float32 {
	var in []float32
	for f := range n {
		for channel := range 4 {
			in = append(in, float32(10*(first+f)+channel+1))
		}
	}
	return in
}

func TestEngineRecordsTheChannelsAsked(t *testing.T) {
	e := newEngine(nil, 100)
	e.capture(frames(0, 3), 0)
	e.capture(nil, 0)
	e.capture(frames(3, 1), 0)
	got := make([]float32, 100)
	got = got[:e.ring.read(got)]
	if want := []float32{3, 1, 13, 11, 23, 21, 33, 31}; !slices.Equal(got, want) {
		t.Errorf("recorded %v, want %v", got, want)
	}
}

func TestEnginePlaysOnceThenSilence(t *testing.T) {
	e := newEngine([]float32{.1, .2, .3}, 100)
	out := func() []float32 {
		block := []float32{9, 9, 9, 9} // what the driver left there
		e.render(block, 0)
		return block
	}
	steps := []struct {
		what string
		want []float32
		then func()
	}{
		{"nothing before recording begins", []float32{0, 0, 0, 0}, func() { e.capture(frames(0, 1), 0) }},
		{"the first samples", []float32{0, .1, 0, .2}, func() { e.render(nil, 0) }},
		{"the last sample", []float32{0, .3, 0, 0}, func() {}},
		{"silence", []float32{0, 0, 0, 0}, func() { e.next = 0 }},
		{"again", []float32{0, .1, 0, .2}, func() { e.muted.Store(true) }},
		{"muted", []float32{0, 0, 0, 0}, func() {}},
	}
	for _, s := range steps {
		if got := out(); !slices.Equal(got, s.want) {
			t.Errorf("%s: %v, want %v", s.what, got, s.want)
		}
		s.then()
	}
}

func TestEngineRunIn(t *testing.T) {
	e := newEngine([]float32{1}, 100)
	e.runIn, e.longestRunIn = 4, 20
	e.capture(frames(0, 3), 0)
	e.capture(frames(3, 3), inputUnderflow) // begins the count again
	e.capture(frames(6, 2), 0)
	e.capture(frames(8, 2), 0)
	if n := e.recorded.Load(); n != 0 {
		t.Fatalf("%d frames of the run-in were recorded", n)
	}
	e.capture(frames(10, 2), 0)
	got := make([]float32, 2)
	e.ring.read(got)
	if got[0] != 103 || e.recorded.Load() != 2 {
		t.Errorf("recording begins with %v, %d frames; want the 11th frame, 2 frames", got, e.recorded.Load())
	}
	if len(e.xruns()) != 0 {
		t.Errorf("reports of the run-in are listed: %v", e.xruns())
	}
	// A driver that never stops complaining is heard, but obeyed in the end.
	e = newEngine(nil, 100)
	e.runIn, e.longestRunIn = 4, 8
	for range 4 {
		e.capture(frames(0, 3), inputOverflow)
	}
	if n := e.recorded.Load(); n != 3 {
		t.Errorf("%d frames recorded after the longest run-in, want 3", n)
	}
}

func TestEngineListsXruns(t *testing.T) {
	e := newEngine(make([]float32, 100), 8)
	e.capture(frames(0, 5), inputOverflow)                  // before the first frame: of no account
	e.render(make([]float32, 2), outputUnderflow)           // before the first sample: likewise
	e.render(make([]float32, 2), outputUnderflow)           // at 5
	e.capture(frames(5, 2), inputUnderflow|outputUnderflow) // at 5, the output's is told by render
	e.capture(frames(7, 3), 0)                              // only one frame fits: at 8
	e.ring.read(make([]float32, 8))
	e.capture(frames(10, 1), inputOverflow) // at 8
	want := []capture.Xrun{
		{Frame: 5, Kind: "input-underflow"},
		{Frame: 5, Kind: "output-underflow"},
		{Frame: 8, Kind: "ring-overrun"},
		{Frame: 8, Kind: "input-overflow"},
	}
	if got := e.xruns(); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	for range 3000 {
		e.capture(frames(0, 1), inputOverflow) // does not overflow the list
	}
	if n := len(e.xruns()); n < 1000 {
		t.Errorf("%d reports kept", n)
	}
}

// The driver's thread runs beside the reader; -race sees both.
func TestRingKeepsOrderBetweenTwoThreads(t *testing.T) {
	const total = 200_000
	r := newRing(100, 2)
	go func() {
		for n := 0; n < total; {
			fit := min(r.space(), 37, total-n)
			in := make([]float32, 3*fit)
			for f := range fit {
				in[3*f+1], in[3*f+2] = float32(n+f), -float32(n+f)
			}
			r.write(in, fit, 3, []int{1, 2})
			n += fit
			if fit == 0 {
				runtime.Gosched()
			}
		}
	}()
	got := make([]float32, 53) // odd: half a frame must not come
	for n := 0; n < total; {
		read := r.read(got)
		if read%2 != 0 {
			t.Fatalf("read %d samples: not whole frames", read)
		}
		for i := 0; i < read; i += 2 {
			if got[i] != float32(n) || got[i+1] != -float32(n) {
				t.Fatalf("frame %d is %v", n, got[i:i+2])
			}
			n++
		}
		if read == 0 {
			runtime.Gosched()
		}
	}
}

func TestRingHoldsWhatWasAsked(t *testing.T) {
	for _, channels := range []int{1, 2} {
		for _, n := range []int{1, 2, 3, 7, 8, 9, 1000} {
			if got := newRing(n, channels).space(); got < n {
				t.Errorf("ring of %d frames, %d channel(s), has room for %d", n, channels, got)
			}
		}
	}
}

// block is what a driver hands over at 100 ms and 48 kHz.
func block(e *engine) func() {
	in, out, sink := make([]float32, 4*1200), make([]float32, 2*1200), make([]float32, 4096)
	return func() {
		e.capture(in, inputOverflow)
		e.render(out, outputUnderflow)
		e.ring.read(sink)
	}
}

func TestCallbackDoesNotAllocate(t *testing.T) {
	if n := testing.AllocsPerRun(2000, block(newEngine(make([]float32, 1e6), 8000))); n != 0 {
		t.Errorf("%g allocations in a callback", n)
	}
}

func BenchmarkCallback(b *testing.B) {
	run := block(newEngine(make([]float32, 1e6), 8000))
	b.ReportAllocs()
	for b.Loop() {
		run()
	}
}
