package main

import (
	"bytes"
	"math"
	"testing"

	"coilsweep/capture/record"
)

func TestMeters(t *testing.T) {
	var b bytes.Buffer
	m := meters{w: &b}
	channels := []record.Meter{{PeakDBFS: -12.34, RMSDBFS: -20}, {PeakDBFS: math.Inf(-1), RMSDBFS: math.Inf(-1)}}
	m.show(channels)
	m.end()
	if b.Len() > 0 {
		t.Errorf("not on a terminal, and yet %q", b.String())
	}
	m.terminal = true
	m.show(channels)
	m.end()
	want := "\r\x1b[Kcoil: peak −12.3 dBFS, rms −20.0 dBFS   reference: peak silent, rms silent   \r\x1b[K"
	if b.String() != want {
		t.Errorf("got %q, want %q", b.String(), want)
	}
}
