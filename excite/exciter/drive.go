package exciter

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"coilsweep/excite/quantity"
)

// Source drives the exciter: a sound card's output.
type Source struct {
	// Volt is its rms voltage without load at the level that will be played.
	Volt float64
	// Ohm is its own resistance.
	Ohm float64
	// LeastLoadOhm is the smallest load that it is made for: about 600 ohm or
	// more for a line output, 16 ohm to 32 ohm for a headphone output (common
	// practice).
	LeastLoadOhm float64
}

// Goal is how good a current source the drive is to be: the current may fall
// by LimitDB up to TopHz.
type Goal struct {
	TopHz, LimitDB float64
}

// DefaultGoal is 0.1 dB to 20 kHz.
var DefaultGoal = Goal{TopHz: 20000, LimitDB: 0.1}

// Target is the coil under test as seen from the exciter: coaxial, its middle
// at a distance from the exciter's middle. A long coil is taken as a circle of
// equal area (EqualAreaRadiusM), which is good to about 20 %; iron in it is
// not counted.
type Target struct {
	Coil      Coil
	DistanceM float64
}

// Facing is t at a distance from a coil on a bobbin such that there is a gap
// between the ends of both windings.
func (t Target) Facing(b Bobbin, gapM float64) Target {
	t.DistanceM = gapM + (b.LengthM+t.Coil.LengthM)/2
	return t
}

// CurrentDropDB is by how much the current into R and L in series is lower at
// a frequency than at DC: 10 log10(1 + (2 pi f L/R)²).
func CurrentDropDB(totalOhm, inductanceH, hz float64) float64 {
	x := 2 * math.Pi * hz * inductanceH / totalOhm
	return 10 * math.Log10(1+x*x)
}

// LeastTotalOhm is the resistance of the whole circuit (source, series
// resistor, coil) at which CurrentDropDB just meets the goal.
func LeastTotalOhm(inductanceH float64, g Goal) float64 {
	return 2 * math.Pi * g.TopHz * inductanceH / math.Sqrt(math.Expm1(g.LimitDB/10*math.Ln10))
}

// e12 is the E12 series of IEC 60063.
var e12 = []float64{1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10}

// NextE12 is the value of the E12 series (IEC 60063) at or above a resistance;
// 0 for none needed.
func NextE12(ohm float64) float64 {
	if ohm <= 0 {
		return 0
	}
	decade := math.Pow10(int(math.Floor(math.Log10(ohm))))
	for _, e := range e12 {
		if x := e * decade; x >= ohm*(1-1e-9) {
			return x
		}
	}
	return 10 * decade
}

// nextOf is the least of the resistors from ohm up, 0 where none is needed; with
// no resistors given the next E12 value. ok is false where all are smaller.
func nextOf(resistors []float64, ohm float64) (next float64, ok bool) {
	if len(resistors) == 0 || ohm <= 0 {
		return NextE12(ohm), true
	}
	next = math.Inf(1)
	for _, r := range resistors {
		if r >= ohm*(1-1e-9) {
			next = min(next, r)
		}
	}
	return next, !math.IsInf(next, 1)
}

// spareOhm is how many times larger than the E12 value a series resistor may be
// before a warning.
const spareOhm = 1.5

// Estimate is an exciter with its drive, worked out.
type Estimate struct {
	Coil          Coil
	Bobbin        Bobbin // it is wound on, where that is known
	DistanceM     float64
	Celsius       float64 // of the winding
	ResistanceOhm float64
	InductanceH   float64 // within about 1 %, without iron
	WheelerH      float64 // by Wheeler's formula, to compare
	// SelfCapacitanceF is rough: see Coil.SelfCapacitanceF. SelfResonanceHz is
	// with it and 50 pF of leads, so it is rough as well.
	SelfCapacitanceF, SelfResonanceHz float64

	// NeededOhm is the series resistor that the goal and the source's least
	// load ask for, SeriesOhm the next one above of the E12 series or of those
	// at hand; what follows is with that one.
	NeededOhm, SeriesOhm float64
	TotalOhm             float64
	DropDB               float64 // of the current at the goal's TopHz
	CurrentA             float64 // rms, at low frequencies
	CoilW, SeriesW       float64 // for a steady tone at that level
	RiseK                float64 // of the coil in still air, roughly
	// AxisFieldT is the flux density on the axis at the target's distance, rms.
	AxisFieldT float64
	// MutualH is the mutual inductance to the target, EMFV1k the rms voltage
	// induced in it at 1 kHz; it rises in proportion to the frequency.
	MutualH, EMFV1k float64
	// Warnings say what to watch.
	Warnings []string
}

// stillAir is the heat that a surface gives off to still air by convection and
// radiation, W/(m² K) (common practice: 8 ... 12).
const stillAir = 10

// Work works out a coil with its drive at a winding temperature in °C, with a
// series resistor of the E12 series.
func Work(c Coil, celsius float64, s Source, g Goal, t Target) (Estimate, error) {
	return work(c, nil, celsius, s, g, t)
}

// work is Work with the series resistors at hand; none: E12.
func work(c Coil, resistors []float64, celsius float64, s Source, g Goal, t Target) (Estimate, error) {
	if err := checkDrive(s, g, t); err != nil {
		return Estimate{}, err
	}
	if !(c.Wire.BareM > 0 && c.Wire.OuterM >= c.Wire.BareM) {
		return Estimate{}, errors.New("the exciter's wire is not known")
	}
	inductance, err := c.InductanceH()
	if err != nil {
		return Estimate{}, err
	}
	if err := t.Coil.check(); err != nil {
		return Estimate{}, fmt.Errorf("the coil under test: %w", err)
	}
	if gap := math.Abs(t.DistanceM) - (c.LengthM+t.Coil.LengthM)/2; gap < 0 && overlap(c, t.Coil) {
		return Estimate{}, fmt.Errorf(
			"at %s the exciter and the coil under test overlap: their middles must be %s apart", metres(t.DistanceM),
			metres((c.LengthM+t.Coil.LengthM)/2))
	}
	e := Estimate{
		Coil: c, DistanceM: t.DistanceM, Celsius: celsius, ResistanceOhm: c.ResistanceOhm(celsius),
		InductanceH: inductance, WheelerH: c.WheelerH(), SelfCapacitanceF: c.SelfCapacitanceF(),
	}
	e.SelfResonanceHz = SelfResonanceHz(inductance, e.SelfCapacitanceF+leadsF)
	e.NeededOhm = max(leastTotal(e.ResistanceOhm, inductance, s, g)-s.Ohm-e.ResistanceOhm, 0)
	var enough bool
	if e.SeriesOhm, enough = nextOf(resistors, e.NeededOhm); !enough {
		return Estimate{}, fmt.Errorf(
			"%d turns of %s need a series resistor of %s or more, and none at hand is that large", c.Turns, c.Wire.Name,
			quantity.Format(e.NeededOhm, quantity.Ohm, 2))
	}
	e.TotalOhm = s.Ohm + e.SeriesOhm + e.ResistanceOhm
	e.DropDB = CurrentDropDB(e.TotalOhm, inductance, g.TopHz)
	e.CurrentA = s.Volt / e.TotalOhm
	e.CoilW = e.CurrentA * e.CurrentA * e.ResistanceOhm
	e.SeriesW = e.CurrentA * e.CurrentA * e.SeriesOhm
	e.RiseK = e.CoilW / (stillAir * c.surfaceM2())
	e.AxisFieldT = e.CurrentA * c.AxisFieldT(t.DistanceM)
	e.MutualH = MutualH(c, t.Coil, t.DistanceM)
	e.EMFV1k = 2 * math.Pi * 1000 * e.MutualH * e.CurrentA
	e.warn(g)
	if e12 := NextE12(e.NeededOhm); e.SeriesOhm > spareOhm*e12 {
		e.Warnings = append(e.Warnings,
			fmt.Sprintf("the series resistor is %.1f times as large as is needed: one of %s would give %.1f times "+
				"the signal",
				e.SeriesOhm/e.NeededOhm, quantity.Format(e12, quantity.Ohm, 2),
				e.TotalOhm/(e.TotalOhm-e.SeriesOhm+e12)))
	}
	return e, nil
}

func checkDrive(s Source, g Goal, t Target) error {
	for _, x := range []struct {
		what  string
		value float64
		zero  bool
	}{
		{"the source's voltage", s.Volt, false},
		{"the source's resistance", s.Ohm, true},
		{"the source's least load", s.LeastLoadOhm, true},
		{"the upper frequency", g.TopHz, false},
		{"the limit of the current's fall in dB", g.LimitDB, false},
		{"the distance to the coil under test", math.Abs(t.DistanceM), true},
	} {
		if !(x.value > 0 || x.zero && x.value == 0) || math.IsInf(x.value, 0) {
			return fmt.Errorf("%s cannot be %g", x.what, x.value)
		}
	}
	return nil
}

// overlap tells whether two coaxial windings share radii.
func overlap(a, b Coil) bool { return a.inner() < b.outer() && b.inner() < a.outer() }

// leastTotal is the least resistance of the whole circuit.
func leastTotal(coilOhm, inductanceH float64, s Source, g Goal) float64 {
	return max(s.Ohm+coilOhm, s.Ohm+s.LeastLoadOhm, LeastTotalOhm(inductanceH, g))
}

// surfaceM2 is the winding's outer face and both ends.
func (c Coil) surfaceM2() float64 {
	r1, r2 := c.inner(), c.outer()
	return 2 * math.Pi * (r2*c.LengthM + r2*r2 - r1*r1)
}

func (e *Estimate) warn(g Goal) {
	add := func(format string, args ...any) { e.Warnings = append(e.Warnings, fmt.Sprintf(format, args...)) }
	switch {
	case e.RiseK > 30:
		add("the exciter gets hot: about %.0f K above the room for a steady tone; lower the level, or use thicker wire",
			e.RiseK)
	case e.RiseK > 5:
		add("the exciter gets warm: about %.0f K above the room for a steady tone; its resistance rises by %.1f %%",
			e.RiseK, 100*(CopperFactor(e.Celsius, e.Celsius+e.RiseK)-1))
	}
	if e.SeriesW > 0.125 {
		add("the series resistor takes %s: use one for at least twice that", formatW(e.SeriesW))
	}
	if density := e.CurrentA / e.Coil.Wire.AreaM2() * 1e-6; density > 5 {
		add("the wire carries %.1f A/mm²; 3 to 5 A/mm² is typical for a coil in air", density)
	}
	if e.SelfResonanceHz < 5*g.TopHz {
		add("the exciter's self-resonance is near %s (a rough estimate): up to %s it is not R and L alone; use fewer "+
			"turns",
			quantity.Format(e.SelfResonanceHz, quantity.Hertz, 1), quantity.Format(g.TopHz, quantity.Hertz, 2))
	}
	if e.EMFV1k < 1e-3 {
		add("only about %.2g mV are induced at 1 kHz: go closer, or drive with more current", 1e3*e.EMFV1k)
	}
}

func formatW(w float64) string {
	if w < 1 {
		return fmt.Sprintf("%.0f mW", 1e3*w)
	}
	return fmt.Sprintf("%.1f W", w)
}

// best is the number of turns on a bobbin that induces most in the target: more
// turns give more field per ampere, but also an inductance that asks for a larger
// series resistor, so the best is where the two limits meet or the bobbin is full.
// resistors are those at hand; none: any, since two of E12 make nearly every value.
func best(b Bobbin, w Wire, resistors []float64, packing Packing, celsius float64, s Source, g Goal,
	t Target) (Estimate, error) {
	if err := checkDrive(s, g, t); err != nil {
		return Estimate{}, err
	}
	fit := b.TurnsThatFit(w, packing)
	if fit < 1 {
		_, err := b.Wind(w, 1, packing)
		if err == nil {
			err = fmt.Errorf("no turn of %s fits on this bobbin", w.Name)
		}
		return Estimate{}, err
	}
	type candidate struct {
		coil            Coil
		ohm, henry, mut float64
	}
	var candidates []candidate
	for _, turns := range turnsToTry(fit) {
		c, err := b.Wind(w, turns, packing)
		if err != nil {
			return Estimate{}, err
		}
		candidates = append(candidates,
			candidate{c, c.ResistanceOhm(celsius), c.WheelerH(), MutualH(c, t.Coil, t.DistanceM)})
	}
	// Wheeler's formula is good enough for the choice where any resistor can be
	// had. Among given resistors a little more inductance asks for the next
	// larger one: the formula is then corrected by the exact inductance of its
	// choice.
	var most Estimate
	scale, rounds := 1.0, 1
	if len(resistors) > 0 {
		rounds = 4
	}
	for range rounds {
		chosen, emf := candidates[0], 0.0
		for _, c := range candidates {
			total := leastTotal(c.ohm, scale*c.henry, s, g)
			if len(resistors) > 0 {
				series, ok := nextOf(resistors, total-s.Ohm-c.ohm)
				if !ok {
					continue
				}
				total = s.Ohm + c.ohm + series
			}
			if c.mut/total > emf {
				chosen, emf = c, c.mut/total
			}
		}
		e, err := work(chosen.coil, resistors, celsius, s, g, t)
		if emf == 0 && most.Coil.Turns == 0 {
			return Estimate{}, err // no number of turns will do
		}
		if err == nil && e.EMFV1k > most.EMFV1k {
			most = e
		}
		exact, err := chosen.coil.InductanceH()
		if err != nil {
			return Estimate{}, err
		}
		right := 1.001 * exact / chosen.henry
		if math.Abs(right/scale-1) < 1e-3 {
			break
		}
		scale = right
	}
	if most.Coil.Turns == 0 {
		return Estimate{}, fmt.Errorf("no number of turns of %s goes with the resistors at hand", w.Name)
	}
	most.Bobbin = b
	return most, nil
}

// turnsToTry is 1 ... most, in steps of about 2 %.
func turnsToTry(most int) []int {
	var list []int
	for n := 1; n < most; n = max(n+1, n*51/50) {
		list = append(list, n)
	}
	return append(list, most)
}

// Drawer is what is at hand to make an exciter of.
type Drawer struct {
	Bobbins []Bobbin
	Wires   []Wire
	// ResistorsOhm are for the series resistor; none: any E12 value can be had.
	ResistorsOhm []float64
}

// Rank is the best number of turns of each wire in the drawer on each bobbin, the
// coil under test a gap away from the winding, the strongest first. Windings that
// do not fit are left out; if none fits, the error is that of the last.
func Rank(d Drawer, packing Packing, celsius float64, s Source, g Goal, t Target, gapM float64) ([]Estimate, error) {
	for _, r := range d.ResistorsOhm {
		if !(r > 0) || math.IsInf(r, 1) {
			return nil, fmt.Errorf("a series resistor cannot have %g ohm", r)
		}
	}
	var list []Estimate
	err := errors.New("no wire or no bobbin was given")
	for _, b := range d.Bobbins {
		for _, w := range d.Wires {
			e, failed := best(b, w, d.ResistorsOhm, packing, celsius, s, g, t.Facing(b, gapM))
			if failed != nil {
				err = failed
				continue
			}
			list = append(list, e)
		}
	}
	if len(list) == 0 {
		return nil, err
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].EMFV1k > list[j].EMFV1k })
	return list, nil
}
