package virtual

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"coilsweep/capture"

	"gonum.org/v1/gonum/floats"
)

const (
	// The internal rate is the lowest whole multiple (at least 2) of the card's
	// rate that reaches this.
	leastInternalHz = 190000
	// settleS is simulated before the recording starts, so that noise and hum
	// are steady.
	settleS = 0.25
	// internalBlock is how many internal samples are made at a time.
	internalBlock = 2048
)

// run is one recording under way: signals move through it in blocks at the
// internal rate, and each input's decimator takes the recorded samples from
// them.
type run struct {
	play     []float32
	dropOuts []DropOut
	rateHz   float64
	latency  float64 // recorded samples
	stride   float64 // internal samples a recorded sample

	up      *upsampler
	distort distort
	output  *stepper
	drive   []float64 // V or A, into the circuit
	gain    float64   // V or A at full scale
	hum     hum
	circuit *stepper
	noise   []source // into the circuit, from noiseIn on
	inputs  []*channel
	jacks   [][]float64 // jack of each input

	made   int // internal number of the next sample to make; 0 is the first of play
	frame  int // recorded frames, lost ones included
	insert int // frames of silence still to insert
}

// source is white noise at the internal rate.
type source struct {
	rms float64
	rng *rand.Rand
}

// channel is one input of the sound card.
type channel struct {
	jack      []float64 // one block: V, or A through the exciter
	gain      float64   // jack to full scale
	filter    *stepper
	knee      float64
	filtered  []float64 // over full scale: internal samples first, first+1, ...
	first     int
	decimator *decimator
	converter converter
}

func newRun(r *Recorder, play []float32) *run {
	b, truth := r.bench, r.truth
	factor := max(2, (leastInternalHz+r.rateHz-1)/r.rateHz)
	internalHz := float64(factor * r.rateHz)
	step := 1 / internalHz
	shape := newInterpolator(r.rateHz)

	n := &run{
		play:     play,
		dropOuts: b.Faults.DropOuts,
		rateHz:   float64(r.rateHz),
		latency:  b.Clock.LatencySamples,
		stride:   float64(factor) / (1 + b.Clock.DriftPPM*1e-6),
		up:       newUpsampler(shape, factor),
		distort:  newDistort(b.Output),
		output:   newStepper(truth.output, step, []int{smooth}),
		drive:    make([]float64, internalBlock),
		gain:     b.driveAtFullScale(),
		hum:      newHum(b.Hum, internalHz, r.stream("mains")),
	}

	points := []int{driveIn: smooth, humIn: linear}
	for i, density := range truth.net.noiseDensity(b.celsius()) {
		points = append(points, held)
		s := source{rng: r.stream(fmt.Sprint("thermal ", i))}
		if b.Noise.Thermal {
			s.rms = density * math.Sqrt(internalHz/2)
		}
		n.noise = append(n.noise, s)
	}
	n.circuit = newStepper(truth.circuit, step, points)

	// The first sample made lies far enough before the first recorded one for
	// the decimator and for the bench to settle.
	n.made = int(math.Floor(-n.latency*n.stride)) - shape.half*factor - int(settleS*internalHz)
	for i, known := range truth.channels {
		c := &channel{
			jack:      make([]float64, internalBlock),
			gain:      known.perFullScale,
			filter:    newStepper(truth.input, step, []int{smooth}),
			first:     n.made - 3*lag, // output, circuit and input filter each trail
			decimator: newDecimator(shape, factor),
			converter: converter{
				noise:  known.noise * math.Sqrt(n.rateHz/2),
				clipAt: 1,
				dither: b.Input.Dither,
				rng:    r.stream(fmt.Sprint("input ", i)),
			},
		}
		if i == 0 {
			c.knee = b.Input.SoftKnee
		}
		if b.Input.ClipAt > 0 {
			c.converter.clipAt = b.Input.ClipAt
		}
		if b.Input.Bits > 0 {
			c.converter.step = math.Ldexp(1, 1-b.Input.Bits)
		}
		n.inputs = append(n.inputs, c)
		n.jacks = append(n.jacks, c.jack)
	}
	return n
}

// record appends count recorded frames to dst, interleaved; delivered is the
// number of the first.
func (n *run) record(dst []float32, count int, delivered int64) ([]float32, []capture.Xrun) {
	var xruns []capture.Xrun
	for i := range count {
		for n.insert == 0 && len(n.dropOuts) > 0 && float64(n.frame) >= n.dropOuts[0].AtS*n.rateHz {
			d := n.dropOuts[0]
			n.dropOuts = n.dropOuts[1:]
			n.frame += d.Lost
			n.insert = d.Inserted
			if d.Reported {
				xruns = append(xruns, capture.Xrun{Frame: delivered + int64(i), Kind: "input-overflow"})
			}
		}
		if n.insert > 0 {
			n.insert--
			for range n.inputs {
				dst = append(dst, 0)
			}
			continue
		}
		// To a millionth of an internal sample, so that without drift the
		// fraction stays the same.
		place := math.Round((float64(n.frame)-n.latency)*n.stride*(1<<20)) / (1 << 20)
		n.frame++
		base := int(math.Floor(place))
		n.reach(base)
		for _, c := range n.inputs {
			c.decimator.aim(place - float64(base))
			from := base - c.decimator.width/2 + 1 - c.first
			x := c.decimator.take(c.filtered[from : from+c.decimator.width])
			dst = append(dst, c.converter.convert(x))
		}
	}
	return dst, xruns
}

// reach makes internal samples until the decimators can take the place between
// base and base+1.
func (n *run) reach(base int) {
	for _, c := range n.inputs {
		for c.first+len(c.filtered) <= base+c.decimator.width/2 {
			for _, c := range n.inputs {
				c.forget(base)
			}
			n.makeBlock()
		}
	}
}

// forget drops what lies before the reach of a decimator at base.
func (c *channel) forget(base int) {
	drop := min(max(0, base-c.decimator.width/2+1-c.first), len(c.filtered))
	c.filtered = c.filtered[:copy(c.filtered, c.filtered[drop:])]
	c.first += drop
}

// makeBlock moves the simulation on by internalBlock samples.
func (n *run) makeBlock() {
	played := n.output.input(0, internalBlock)
	n.up.fill(played, n.made, n.play)
	n.distort.apply(played)
	n.output.run(n.drive)

	drive := n.circuit.input(driveIn, internalBlock)
	floats.ScaleTo(drive, n.gain, n.drive)
	n.hum.fill(n.circuit.input(humIn, internalBlock), n.made-lag) // beside the drive
	for i, s := range n.noise {
		x := n.circuit.input(noiseIn+i, internalBlock)
		if s.rms == 0 {
			clear(x)
			continue
		}
		for k := range x {
			x[k] = s.rms * s.rng.NormFloat64()
		}
	}
	n.circuit.run(n.jacks...)

	for _, c := range n.inputs {
		x := c.filter.input(0, internalBlock)
		floats.ScaleTo(x, c.gain, c.jack)
		from := len(c.filtered)
		c.filtered = slices.Grow(c.filtered, internalBlock)[:from+internalBlock]
		c.filter.run(c.filtered[from:])
		softClip(c.filtered[from:], c.knee)
	}
	n.made += internalBlock
}
