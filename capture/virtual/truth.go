package virtual

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
)

// Truth is what stands behind the recordings of a bench with one load:
// the constants of its elements, and its exact linear response. SI units.
type Truth struct {
	InductanceH   float64 // of the coil at low frequency
	ResistanceOhm float64 // of the coil at the temperature of the bench
	FixtureF      float64
	AddedF        float64 // true value; 0: none
	AddedOhm      float64 // true value; +Inf: none
	CapacitanceF  float64 // all across the coil; lossy parts at 1 kHz
	LoadOhm       float64 // all across the coil; +Inf: none

	// ResonanceHz and Q are those of the least damped pole pair of the coil
	// with its rings and load, the exciter without current. NaN where no pair
	// is complex.
	ResonanceHz, Q float64
	LCHz           float64 // 1/(2 pi sqrt(L C)) with InductanceH and CapacitanceF

	net      network
	circuit  system // outputs: one a channel
	probes   system // outputs: coilOut, currentOut, jackOut
	mutualH  float64
	output   system
	input    system
	gain     float64 // V or A at full scale
	channels []channelTruth
}

// channelTruth is one recorded channel.
type channelTruth struct {
	perFullScale float64 // recorded full scale per unit of the circuit's output
	noise        float64 // density over full scale, 1/sqrt(Hz)
}

// Truth is what stands behind a recording of b with load; see Recorder.
func (b Bench) Truth(load capture.Load, seed uint64) (Truth, error) {
	if err := b.check(); err != nil {
		return Truth{}, err
	}
	p, err := b.trueParts(load, seed)
	if err != nil {
		return Truth{}, err
	}
	net := b.network(p)
	probes, err := net.system()
	if err != nil {
		return Truth{}, err
	}
	farad := b.Coil.WindingC.SI + b.Fixture.Capacitance.SI + p.loadC
	t := Truth{
		InductanceH:   net.coil.inductance,
		ResistanceOhm: net.coil.resistance,
		FixtureF:      b.Fixture.Capacitance.SI,
		AddedF:        p.loadC,
		AddedOhm:      parallel(0, p.loadR),
		CapacitanceF:  farad,
		LoadOhm:       net.loadR,
		LCHz:          1 / (2 * math.Pi * math.Sqrt(net.coil.inductance*farad)),
		net:           net,
		probes:        probes,
		mutualH:       b.Exciter.Mutual.SI,
		output:        filters(b.Output.HighPassHz, b.Output.RollOff),
		input:         filters(b.Input.HighPassHz, b.Input.RollOff),
		gain:          b.driveAtFullScale(),
	}
	t.ResonanceHz, t.Q, err = net.resonance()
	if err != nil {
		return Truth{}, err
	}

	polarity := 1.0
	if b.Input.Inverted {
		polarity = -1
	}
	t.channels = []channelTruth{{polarity / b.Input.FullScaleV, b.Noise.InputVPerRtHz / b.Input.FullScaleV}}
	taps := []int{coilOut}
	if b.hasReference() {
		c := channelTruth{1 / b.Reference.FullScaleV, b.Noise.ReferenceVPerRtHz / b.Reference.FullScaleV}
		if b.Reference.Kind == "current" {
			c.perFullScale *= b.Reference.SenseR.SI
			taps = append(taps, currentOut)
		} else {
			taps = append(taps, jackOut)
		}
		t.channels = append(t.channels, c)
	}
	t.circuit = probes.tapped(taps)
	return t, nil
}

// tapped is s with only the outputs named.
func (s system) tapped(outputs []int) system {
	t := system{a: s.a, b: s.b, c: mat.NewDense(len(outputs), s.states(), nil), d: mat.NewDense(len(outputs), s.inputs(), nil)}
	for i, o := range outputs {
		t.c.SetRow(i, mat.Row(nil, o, s.c))
		t.d.SetRow(i, mat.Row(nil, o, s.d))
	}
	return t
}

// driveAtFullScale is what a played 1 asks of the source: V, or A.
func (b Bench) driveAtFullScale() float64 {
	if b.Exciter.Drive == "current" {
		return b.Exciter.FullScaleA
	}
	return b.Output.FullScaleV
}

// resonance is the least damped pole pair with no current in the exciter.
func (nw network) resonance() (hz, q float64, err error) {
	nw.currentDriven = true
	s, err := nw.system()
	if err != nil {
		return 0, 0, err
	}
	hz, q = math.NaN(), math.NaN()
	for _, p := range s.poles() {
		w := cmplx.Abs(p)
		if imag(p) <= 1e-9*w {
			continue
		}
		if pq := -w / (2 * real(p)); math.IsNaN(q) || pq > q {
			hz, q = w/(2*math.Pi), pq
		}
	}
	return hz, q, nil
}

// Transfer is the voltage at the coil's terminals over the EMF that the exciter
// would induce without a cover, j w M i_exciter, at hz.
func (t Truth) Transfer(hz float64) complex128 {
	jw := complex(0, 2*math.Pi*hz)
	v := t.probes.response(driveIn, coilOut, hz)
	i := t.probes.response(driveIn, currentOut, hz)
	return v / (jw * complex(t.mutualH, 0) * i)
}

// Recorded is the complex amplitude recorded in a channel (0: coil,
// 1: reference) at hz, over full scale, for one of 1 played: everything linear
// but latency and clock drift. It holds up to 20 kHz or 5/12 of the rate.
func (t Truth) Recorded(channel int, hz float64) complex128 {
	return t.output.response(0, 0, hz) *
		complex(t.gain*t.channels[channel].perFullScale, 0) *
		t.circuit.response(driveIn, channel, hz) *
		t.input.response(0, 0, hz)
}

// Channels is the number of recorded channels.
func (t Truth) Channels() int { return len(t.channels) }
