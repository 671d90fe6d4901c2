package virtual

import (
	"errors"
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// CableRecorder is the bench with a cable from the output jack to the input
// in place of exciter and coil, clips and input being where they are: the
// sound card alone. A loopback reference records the jack, a current reference
// nothing. See Recorder for rateHz, seed and errors.
func (b Bench) CableRecorder(rateHz int, seed uint64) (*Recorder, error) {
	return b.wired(nil, rateHz, seed)
}

// SeriesRecorder is the bench with a resistor from the output jack to the
// input in place of exciter and coil: it makes a divider with the fixture. Its
// true value lies within its tolerance as Added says.
func (b Bench) SeriesRecorder(series quantity.Resistance, rateHz int, seed uint64) (*Recorder, error) {
	c := &checker{}
	c.part("series resistor", series.Value, 1, 1e12, false)
	if c.err != nil {
		return nil, c.err
	}
	if b.Fixture.Capacitance.SI == 0 {
		return nil, &FieldError{Key: "fixture.capacitance",
			Text: "is needed where a resistor is put before the fixture"}
	}
	return b.wired(&series, rateHz, seed)
}

func (b Bench) wired(series *quantity.Resistance, rateHz int, seed uint64) (*Recorder, error) {
	if b.Output.FullScaleV == 0 {
		return nil, errors.New("the simulated bench has no output voltage: set output.full_scale_v")
	}
	b.Exciter.Drive = "voltage"
	r, err := b.Recorder(capture.Load{}, rateHz, seed)
	if err != nil {
		return nil, err
	}
	t := &r.truth
	between := b.Output.Resistance.SI // from the source to the input
	through := "a cable"
	if series != nil {
		between += series.SI * (1 + trueError(series.Value, 0, b.Added.RError, seed))
		through = fmt.Sprintf("%v in series", series)
	}
	r.wiring = through + " from output to input"
	loadR := parallel(b.Fixture.Resistance.SI, 0)
	t.net = network{coil: loop{resistance: between}, loadR: loadR}
	t.ResonanceHz, t.Q = math.NaN(), math.NaN()
	t.CapacitanceF, t.LoadOhm = t.FixtureF, loadR

	circuit := newSystem(1, noiseIn+2, 3) // outputs: the input's voltage, nothing, the jack's voltage
	if series == nil {
		// A cable's capacitance is nothing to an output.
		circuit.a.Set(0, 0, -1)
		share := 1 / (1 + between/loadR)
		for _, in := range []int{driveIn, noiseIn} {
			circuit.d.Set(coilOut, in, share)
			circuit.d.Set(jackOut, in, share)
		}
		circuit.d.Set(coilOut, noiseIn+1, between*share)
	} else {
		// dv/dt = ((source - v)/R - v/R_load + i_noise)/C
		c := t.FixtureF
		circuit.a.Set(0, 0, -(1/between+1/loadR)/c)
		circuit.b.Set(0, driveIn, 1/(between*c))
		circuit.b.Set(0, noiseIn, 1/(between*c))
		circuit.b.Set(0, noiseIn+1, 1/c)
		circuit.c.Set(coilOut, 0, 1)
		out := b.Output.Resistance.SI / between
		circuit.d.Set(jackOut, driveIn, 1-out)
		circuit.c.Set(jackOut, 0, out)
	}
	taps := []int{coilOut}
	if len(t.channels) > 1 {
		if b.Reference.Kind == "loopback" {
			taps = append(taps, jackOut)
		} else {
			taps = append(taps, currentOut)
			t.channels[1].perFullScale = 1 // of nothing
		}
	}
	t.probes, t.circuit = circuit, circuit.tapped(taps)
	return r, nil
}
