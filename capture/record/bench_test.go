package record

import (
	"context"
	"errors"
	"path/filepath"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
)

// shortStimulus is about 1.5 s long: a lead-in and two short sweeps.
func shortStimulus(t testing.TB) excite.Stimulus {
	t.Helper()
	r := excite.DefaultRequest()
	r.FromHz, r.ToHz, r.SweepS, r.Repeats = 100, 16000, 0.25, 2
	r.LeadInS, r.GapS, r.TailS, r.LevelDBFS = 0.5, 0.1, 0.1, -12
	s, err := excite.Design(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func plan(t testing.TB, name string) capture.Take {
	t.Helper()
	return capture.Take{
		Name: name, Program: "coilsweep test",
		Load:      capture.Load{AddedC: capacitance(t, "470p 1%")},
		Drive:     capture.Drive{Kind: "current", Assumed: true},
		Reference: capture.Reference{Kind: "none"},
		Stimulus:  shortStimulus(t),
	}
}

func newFolder(t testing.TB) *capture.Folder {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "bridge")
	if err := capture.CreateFolder(dir, someCoil(t)); err != nil {
		t.Fatal(err)
	}
	f, err := capture.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// rising is a high-pass of first order at 2 kHz: on channel 1 it stands in for a
// coil, whose answer rises with frequency.
type rising struct{ x, y float64 }

func (r *rising) next(x float64) float64 {
	const pole = 0.77 // exp(-2 pi 2000/48000)
	r.y = pole*r.y + (1+pole)/2*(x-r.x)
	r.x = x
	return r.y
}

// loopback is a recorder that hears what it plays, delay frames later, with a
// faint hiss, and on channel 1 rising: it stands in for a bench where only the
// recording matters.
type loopback struct {
	rateHz, channels int
	gain             float32
	failAfter        int // frames; 0: never
	xruns            []capture.Xrun
	onBlock          func(frames int)
	calls            int
}

var errUnplugged = errors.New("the device vanished")

func (l *loopback) Format() Format { return Format{RateHz: l.rateHz, Channels: l.channels} }

func (l *loopback) Describe() capture.Bench {
	return capture.Bench{Source: "virtual", InputDevice: "loopback"}
}

func (l *loopback) Record(ctx context.Context, play []float32, frames int, sink func([]float32) error) (Session,
	error) {
	l.calls++
	const delay, blockFrames = 1234, 480
	session := Session{Xruns: l.xruns}
	hiss := uint32(1)
	block := make([]float32, 0, blockFrames*l.channels)
	var coil rising
	for at := 0; at < frames; at += blockFrames {
		if err := ctx.Err(); err != nil {
			return session, err
		}
		if l.failAfter > 0 && at >= l.failAfter {
			return session, errUnplugged
		}
		block = block[:0]
		for i := at; i < at+blockFrames; i++ {
			hiss = hiss*1664525 + 1013904223
			v := (float32(hiss)/(1<<32) - 0.5) * 1e-5
			if n := i - delay; n >= 0 && n < len(play) {
				v += l.gain * play[n]
			}
			block = append(block, float32(max(-1, min(coil.next(float64(v)), 1))))
			v = max(-1, min(v, 1))
			for c := 1; c < l.channels; c++ {
				block = append(block, v/float32(c+1))
			}
		}
		if l.onBlock != nil {
			l.onBlock(at + blockFrames)
		}
		if err := sink(block); err != nil {
			return session, err
		}
	}
	return session, nil
}

func mono() *loopback { return &loopback{rateHz: 48000, channels: 1, gain: 1} }

func capacitance(t testing.TB, text string) *quantity.Capacitance {
	t.Helper()
	c, err := quantity.ParseCapacitance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

func resistanceOf(t testing.TB, text string) *quantity.Resistance {
	t.Helper()
	r, err := quantity.ParseResistance(text)
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

// someCoil is an invented coil.
func someCoil(t testing.TB) capture.Coil {
	return capture.Coil{Schema: capture.CoilSchema, Name: "Invented coil", DCR: resistanceOf(t, "7.85k@22C 0.5%")}
}
