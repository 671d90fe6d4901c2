package circuit

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// Wiring is how the coils of a Harness are connected.
type Wiring int

// The connections of two coils. Split leaves the second coil of a series pair
// bridged by a wire, as a switch to the junction does.
const (
	OneCoil Wiring = iota
	InSeries
	InParallel
	Split
)

// Harness is a guitar from the coils to the amplifier's input.
type Harness struct {
	Coils  []HarnessCoil // one, or two where Wiring says so
	Wiring Wiring
	// Coupling is the coupling factor of two coils' inductances; positive
	// where their fluxes add when both are connected the same way round.
	Coupling float64
	// BetweenF, GroundF and Lay are as in Pair, and Shared is its share for each loop of the
	// first coil, which then couples to the second.
	BetweenF, GroundF, Lay float64
	Shared                 []float64
	// Junction is a part from the junction of two coils in series to ground, as of a
	// partial split; nil: none.
	Junction *Load
	Volume   *Potentiometer // nil: none
	Tone     *Tone          // nil: none
	Bleed    *Bleed         // nil: none; needs a volume pot
	// CableCapacitanceF is across the output.
	CableCapacitanceF float64
	Amplifier         Load
}

// HarnessCoil is a coil in a harness.
type HarnessCoil struct {
	Coil
	// EMF is the coil's share of the signal: 1 for the first of two equal
	// coils, 0 for one that the string does not reach.
	EMF float64
	// Reversed swaps the coil's leads: out of phase with the other one.
	Reversed bool
}

// Tone is a tone control: a pot as a variable resistor in series with a
// capacitor to ground.
type Tone struct {
	Pot          Potentiometer
	CapacitanceF float64
	// AtOutput puts it at the volume pot's wiper in place of its upper end.
	AtOutput bool
	// OpenAtFull says that the pot leaves its track at position 1.
	OpenAtFull bool
}

// Bleed is a treble bleed on the volume pot: a capacitor from its upper end to
// its wiper, with a resistor beside it or in series, or both.
type Bleed struct {
	CapacitanceF float64
	ParallelOhm  float64 // 0: none
	SeriesOhm    float64 // 0: a wire
}

// harnessReachHz is how far up a cylinder's rings are exact: an octave above
// hearing.
const harnessReachHz = 40e3

// Network is the harness with its coils as a network, and the node of the
// amplifier's input. Each coil's EMF is a source of 1 V times its share, so that
// the voltage at the node is the transfer from a coil's EMF. Eddy currents are
// loops coupled to the coil's inductance by the square root of their share; a
// cover is a low pass between the source and the coil.
func (h Harness) Network() (*Network, Node, error) {
	if err := h.check(); err != nil {
		return nil, 0, err
	}
	n := &Network{}
	hot, ground := n.Node("pickup"), Ground
	coils := h.Coils
	switch h.Wiring {
	case OneCoil:
		addCoil(n, 1, coils[0], hot, ground)
	case InSeries:
		middle := n.Node("middle")
		addCoil(n, 1, coils[0], hot, middle)
		addCoil(n, 2, coils[1], middle, ground)
	case InParallel:
		addCoil(n, 1, coils[0], hot, ground)
		addCoil(n, 2, coils[1], hot, ground)
	case Split:
		addCoil(n, 1, coils[0], hot, ground)
		addCoil(n, 2, coils[1], ground, ground)
	}
	if len(coils) == 2 {
		h.couple(n)
	}
	out := hot
	if v := h.Volume; v != nil {
		out = n.Node("out")
		n.AddResistor("volume_above", hot, out, v.Above())
		n.AddResistor("volume_below", out, ground, v.Below())
		if b := h.Bleed; b != nil {
			from := hot
			if b.SeriesOhm != 0 {
				from = n.Node("bleed")
				n.AddResistor("bleed_series", hot, from, b.SeriesOhm)
			}
			n.AddCapacitor("bleed", from, out, b.CapacitanceF)
			if b.ParallelOhm != 0 {
				n.AddResistor("bleed_parallel", from, out, b.ParallelOhm)
			}
		}
	}
	if t := h.Tone; t != nil && !(t.OpenAtFull && t.Pot.Position >= 1) {
		at := hot
		if t.AtOutput {
			at = out
		}
		below := n.Node("tone")
		n.AddResistor("tone", at, below, t.Pot.Below())
		n.AddCapacitor("tone", below, ground, t.CapacitanceF)
	}
	if h.CableCapacitanceF != 0 {
		n.AddCapacitor("cable", out, ground, h.CableCapacitanceF)
	}
	if !math.IsInf(h.Amplifier.ResistanceOhm, 1) {
		n.AddResistor("amplifier", out, ground, h.Amplifier.ResistanceOhm)
	}
	if h.Amplifier.CapacitanceF != 0 {
		n.AddCapacitor("amplifier", out, ground, h.Amplifier.CapacitanceF)
	}
	return n, out, n.Err()
}

// couple adds what lies between two coils.
func (h Harness) couple(n *Network) {
	if h.Coupling != 0 {
		n.Couple("coils", "coil1", "coil2", h.Coupling)
	}
	for k, share := range h.Shared {
		if ring := h.Coils[0].Rings[k]; share != 0 && ring.Share > 0 {
			n.Couple(fmt.Sprintf("shared%d", k+1), "coil2", fmt.Sprintf("ring1_%d", k+1),
				share/math.Sqrt(ring.Share))
		}
	}
	hot, middle := n.Node("pickup"), Ground
	first, second := [2]Node{hot, Ground}, [2]Node{hot, Ground}
	switch h.Wiring {
	case InSeries:
		middle = n.Node("middle")
		first, second = [2]Node{hot, middle}, [2]Node{middle, Ground}
	case Split:
		second = [2]Node{}
	}
	for i, leads := range [...]*[2]Node{&first, &second} {
		if h.Coils[i].Reversed {
			leads[0], leads[1] = leads[1], leads[0]
		}
	}
	for i, a := range first {
		for k, b := range second {
			share := 0.25 - h.Lay/12
			if i == k {
				share = 0.25 + h.Lay/12
			}
			if a != b && h.BetweenF != 0 {
				n.AddCapacitor(fmt.Sprintf("between%d%d", i, k), a, b, h.BetweenF*share)
			}
		}
	}
	for i, at := range []Node{first[0], first[1], second[0], second[1]} {
		if at != Ground && h.GroundF != 0 {
			n.AddCapacitor(fmt.Sprintf("metal%d", i), at, Ground, h.GroundF/2)
		}
	}
	if j := h.Junction; j != nil && middle != Ground {
		if !math.IsInf(j.ResistanceOhm, 1) {
			n.AddResistor("partial", middle, Ground, j.ResistanceOhm)
		}
		if j.CapacitanceF != 0 {
			n.AddCapacitor("partial", middle, Ground, j.CapacitanceF)
		}
	}
}

func (h Harness) check() error {
	want := 2
	if h.Wiring == OneCoil {
		want = 1
	}
	switch {
	case len(h.Coils) != want:
		return fmt.Errorf("the harness has %d coils: its wiring wants %d", len(h.Coils), want)
	case !(math.Abs(h.Coupling) < 1):
		return fmt.Errorf("coupling of %g: want more than -1 and less than 1", h.Coupling)
	case h.Bleed != nil && h.Volume == nil:
		return errors.New("a treble bleed without a volume pot")
	case !(h.Amplifier.ResistanceOhm > 0):
		return fmt.Errorf("amplifier input of %g ohm: want more than 0", h.Amplifier.ResistanceOhm)
	}
	for i, c := range h.Coils {
		if err := c.check(); err != nil {
			return fmt.Errorf("coil %d: %w", i+1, err)
		}
		if notFinite(c.EMF) {
			return fmt.Errorf("coil %d: EMF of %g", i+1, c.EMF)
		}
	}
	if h.Volume != nil {
		if err := h.Volume.check("volume"); err != nil {
			return err
		}
	}
	if h.Tone != nil {
		return h.Tone.Pot.check("tone")
	}
	return nil
}

// check refuses values that no coil can have.
func (c Coil) check() error {
	switch {
	case !(c.InductanceH > 0) || math.IsInf(c.InductanceH, 0):
		return fmt.Errorf("inductance of %g H: want more than 0", c.InductanceH)
	case !(c.CoverTimeS >= 0) || math.IsInf(c.CoverTimeS, 0):
		return fmt.Errorf("cover time of %g s: want 0 or more", c.CoverTimeS)
	}
	left := 1.0
	for _, r := range append([]Ring{c.Cylinder}, c.Rings...) {
		if !(r.Share >= 0 && r.TimeS >= 0) || math.IsInf(r.TimeS, 0) {
			return fmt.Errorf("eddy share %g with a time of %g s: want 0 or more", r.Share, r.TimeS)
		}
		left -= r.Share
	}
	if left < -1e-12 {
		return fmt.Errorf("eddy shares add up to %g: want 1 at most", 1-left)
	}
	return nil
}

// addCoil puts coil number i between the nodes plus and minus.
func addCoil(n *Network, i int, c HarnessCoil, plus, minus Node) {
	if c.Reversed {
		plus, minus = minus, plus
	}
	name := func(what string) string { return fmt.Sprintf("%s%d", what, i) }
	start, behind := n.Node(name("start")), n.Node(name("wire"))
	emf := complex(c.EMF, 0)
	if c.CoverTimeS > 0 {
		const ohm = 1e3
		open, covered := n.Node(name("open")), n.Node(name("covered"))
		n.AddVoltageSource(name("emf"), open, Ground, emf)
		n.AddResistor(name("cover"), open, covered, ohm)
		n.AddCapacitor(name("cover"), covered, Ground, c.CoverTimeS/ohm)
		n.AddVoltageControlledSource(name("covered"), start, minus, covered, Ground, 1)
	} else {
		n.AddVoltageSource(name("emf"), start, minus, emf)
	}
	inductor := name("coil")
	n.AddInductor(inductor, start, behind, c.InductanceH)
	n.AddResistor(name("coil"), behind, plus, c.ResistanceOhm)
	if plus != minus && c.CapacitanceF != 0 {
		n.AddCapacitor(name("coil"), plus, minus, c.CapacitanceF)
	}
	rings := c.Rings
	if c.Cylinder.Share > 0 {
		rings = append(rings[:len(rings):len(rings)],
			CylinderRings(c.Cylinder, CylinderRingCount(c.Cylinder.TimeS, harnessReachHz))...)
	}
	for k, r := range rings {
		if r.Share == 0 || r.TimeS == 0 {
			continue
		}
		// The ring's impedance level is free; only L/R counts.
		const henry = 1e-3
		ring := fmt.Sprintf("ring%d_%d", i, k+1)
		at := n.Node(ring)
		n.AddInductor(ring, at, Ground, henry)
		n.AddResistor(ring, at, Ground, henry/r.TimeS)
		n.Couple(ring, inductor, ring, math.Sqrt(r.Share))
	}
}

// HarnessResponse computes the response of a harness; not safe for concurrent
// use.
type HarnessResponse struct {
	analysis *Analysis
	out      Node
}

// Response prepares the harness for a sweep over frequencies.
func (h Harness) Response() (*HarnessResponse, error) {
	n, out, err := h.Network()
	if err != nil {
		return nil, err
	}
	a, err := NewAnalysis(n)
	if err != nil {
		return nil, err
	}
	return &HarnessResponse{analysis: a, out: out}, nil
}

// Transfer is the voltage at the amplifier's input over the EMF of a coil
// (HarnessCoil.EMF = 1) at s.
func (r *HarnessResponse) Transfer(s complex128) (complex128, error) {
	if err := r.analysis.Solve(s); err != nil {
		return 0, err
	}
	return r.analysis.Voltage(r.out), nil
}

// transferSlope is Transfer and its derivative by s; NaN where there is none.
func (r *HarnessResponse) transferSlope(s complex128) (h, slope complex128) {
	if r.analysis.SolveSlope(s) != nil {
		return cmplx.NaN(), cmplx.NaN()
	}
	return r.analysis.Voltage(r.out), r.analysis.VoltageSlope(r.out)
}

// Plateau is |Transfer| at 0 Hz.
func (r *HarnessResponse) Plateau() (float64, error) {
	h, err := r.Transfer(0)
	return cmplx.Abs(h), err
}

// Peak is the highest maximum of |Transfer| between fromHz and toHz, and its
// height over the plateau in dB; ok is false where the response only falls, or
// is highest at an end.
func (r *HarnessResponse) Peak(fromHz, toHz float64) (frequencyHz, overPlateauDB float64, ok bool) {
	rise := func(w float64) float64 {
		h, slope := r.transferSlope(complex(0, w))
		return -imag(slope / h) // d ln|H|/dw
	}
	plateau, err := r.Plateau()
	if err != nil || !(plateau > 0) || !(fromHz > 0 && toHz > fromHz) {
		return 0, 0, false
	}
	const perDecade = 12 // peaks closer than this are one
	from, to := 2*math.Pi*fromHz, 2*math.Pi*toHz
	steps := 1 + int(math.Ceil(perDecade*math.Log10(toHz/fromHz)))
	best := 1.0
	low, lowRise := from, rise(from)
	for i := 1; i <= steps; i++ {
		high := from * math.Pow(to/from, float64(i)/float64(steps))
		highRise := rise(high)
		if lowRise > 0 && highRise <= 0 {
			w := root(rise, low, high)
			h, err := r.Transfer(complex(0, w))
			if height := cmplx.Abs(h) / plateau; err == nil && height > best {
				best, frequencyHz, ok = height, w/(2*math.Pi), true
			}
		}
		low, lowRise = high, highRise
	}
	return frequencyHz, 20 * math.Log10(best), ok
}

// Resonance is the modulus in Hz and the Q of the pole pair that shapes the
// peak between fromHz and toHz; without a peak, that of the pair of highest Q
// in this range. ok is false where all the poles in it are real.
func (r *HarnessResponse) Resonance(fromHz, toHz float64) (frequencyHz, q float64, ok bool) {
	hz, _, peaked := r.Peak(fromHz, toHz)
	return r.resonance(hz, peaked, fromHz, toHz)
}

// Sound is Peak and the Q of Resonance, NaN for what there is not.
func (r *HarnessResponse) Sound(fromHz, toHz float64) (peakHz, overPlateauDB, q float64) {
	peakHz, overPlateauDB, peaked := r.Peak(fromHz, toHz)
	_, q, ok := r.resonance(peakHz, peaked, fromHz, toHz)
	if !peaked {
		peakHz, overPlateauDB = math.NaN(), math.NaN()
	}
	if !ok {
		q = math.NaN()
	}
	return peakHz, overPlateauDB, q
}

// resonance is Resonance of a response that has a peak at hz.
func (r *HarnessResponse) resonance(hz float64, peaked bool, fromHz, toHz float64) (frequencyHz, q float64, ok bool) {
	if peaked {
		if s, found := r.poleNear(complex(0, 2*math.Pi*hz)); found {
			return cmplx.Abs(s) / (2 * math.Pi), cmplx.Abs(s) / (-2 * real(s)), true
		}
	}
	poles, err := r.analysis.Poles(toHz)
	if err != nil {
		return 0, 0, false
	}
	for _, s := range poles {
		w := cmplx.Abs(s)
		if imag(s) < leastImaginary*w || w < 2*math.Pi*fromHz {
			continue
		}
		if sharp := w / (-2 * real(s)); !ok || sharp > q {
			frequencyHz, q, ok = w/(2*math.Pi), sharp, true
		}
	}
	return frequencyHz, q, ok
}

// poleNear is Newton's iteration on 1/H: s + H/H'. A pole farther than half
// its frequency is not the one asked for.
func (r *HarnessResponse) poleNear(start complex128) (s complex128, ok bool) {
	s = start
	for range 40 {
		h, slope := r.transferSlope(s)
		step := h / slope
		if cmplx.IsNaN(step) {
			return 0, false
		}
		if size, limit := cmplx.Abs(step), cmplx.Abs(s)/3; size > limit {
			step *= complex(limit/size, 0)
		}
		s += step
		if cmplx.Abs(step) < 1e-10*cmplx.Abs(s) {
			return s, imag(s) > leastImaginary*cmplx.Abs(s) && real(s) < 0 &&
				cmplx.Abs(s-start) < 0.7*cmplx.Abs(start)
		}
	}
	return 0, false
}
