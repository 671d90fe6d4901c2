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
	want := "\r\x1b[Kcoil: peak -12.3 dBFS, rms -20.0 dBFS   reference: peak silent, rms silent   \r\x1b[K"
	if b.String() != want {
		t.Errorf("got %q, want %q", b.String(), want)
	}
}

func TestRoundTo(t *testing.T) {
	for _, tt := range []struct {
		x, u95, want float64
	}{{64.789e-12, 0.803e-12, 64.79e-12}, {999.6e3, 14.2e3, 1e6}, {1234.5, 0.0123, 1234.5}} {
		if got := roundTo(tt.x, significantDigit(tt.u95)); got != tt.want {
			t.Errorf("%g ± %g: %g, want %g", tt.x, tt.u95, got, tt.want)
		}
	}
	if got := significantDigit(0.8e-12); got != -14 {
		t.Errorf("second digit of 0.8e-12 at 10^%d, want -14", got)
	}
}
