package screen

import (
	"bytes"
	"math"
	"testing"

	"coilsweep/capture/record"
)

var reports = []record.Progress{
	{Fraction: 0.1, Repeats: 2, PeakDBFS: math.Inf(-1)},
	{Fraction: 0.4, Repeat: 1, Repeats: 2, PeakDBFS: -14.2},
	{Fraction: 0.5, Repeat: 1, Repeats: 2, PeakDBFS: -20},
	{Fraction: 0.9, Repeat: 2, Repeats: 2, PeakDBFS: -14.1},
	{Fraction: 1, Repeat: 2, Repeats: 2, PeakDBFS: -90},
	// Sound cards deliver some more than was asked for.
	{Fraction: 1, Repeat: 2, Repeats: 2, PeakDBFS: -91},
	{Fraction: 1, Repeat: 2, Repeats: 2, PeakDBFS: -92},
}

func TestProgressInALog(t *testing.T) {
	var b bytes.Buffer
	p := NewRecording(&b)
	for _, r := range reports {
		p.Progress(r)
	}
	p.Clear()
	want := "coilsweep: sweep 1 of 2, peak −14.2 dBFS\ncoilsweep: sweep 2 of 2, peak −14.1 dBFS\n"
	if b.String() != want {
		t.Errorf("got %q, want %q", b.String(), want)
	}
}

func TestProgressOnATerminal(t *testing.T) {
	var b bytes.Buffer
	p := NewRecording(&b)
	p.OnTerminal = true
	for _, r := range reports[:2] {
		p.Progress(r)
	}
	p.Clear()
	want := "\r\x1b[Ksilence         [===                           ]  silent" +
		"\r\x1b[Ksweep  1 of  2  [============                  ]  −14.2 dBFS" +
		"\r\x1b[K"
	if b.String() != want {
		t.Errorf("got %q, want %q", b.String(), want)
	}
}

func TestMeters(t *testing.T) {
	var b bytes.Buffer
	m := NewRecording(&b)
	channels := []record.Meter{{PeakDBFS: -12.34, RMSDBFS: -20}, {PeakDBFS: math.Inf(-1), RMSDBFS: math.Inf(-1)}}
	m.Meters(channels)
	m.Clear()
	if b.Len() > 0 {
		t.Errorf("not on a terminal, and yet %q", b.String())
	}
	m.OnTerminal = true
	m.Meters(channels)
	m.Clear()
	want := "\r\x1b[Kcoil: peak −12.3 dBFS, rms −20.0 dBFS   reference: peak silent, rms silent   \r\x1b[K"
	if b.String() != want {
		t.Errorf("got %q, want %q", b.String(), want)
	}
}
