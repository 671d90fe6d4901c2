package harness

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Coil is a measured coil with its name.
type Coil struct {
	Name   string
	Fitted fit.Uncertain
}

// Prediction is the effect of the harness on the coils.
type Prediction struct {
	Harness string   `json:"harness,omitempty"`
	Coils   []string `json:"coils"`
	Sound
	// Positions are the same at other positions of the knobs.
	Positions []Position `json:"positions"`
	// Without are the same with one part taken away.
	Without  []Removal `json:"without"`
	Response []Point   `json:"-"`
	// Assumptions are what nobody stated; Warnings what is wrong with the coils' takes.
	Assumptions []string `json:"assumptions"`
	Warnings    []string `json:"warnings"`
}

// Sound is the signal at the amplifier's input.
type Sound struct {
	Peak   fit.Quantity `json:"peak_hz"`
	PeakDB fit.Quantity `json:"peak_db"` // over the low-frequency plateau
	Q      fit.Quantity `json:"q"`       // of the pole pair behind the peak
	// Level of the plateau in dB, relative to the EMF of one coil.
	Level fit.Quantity `json:"level_db"`
}

// Position is the sound with the knobs at 0 to 10.
type Position struct {
	Volume *float64 `json:"volume,omitempty"`
	Tone   *float64 `json:"tone,omitempty"`
	Sound
}

// Removal is the sound without one part.
type Removal struct {
	Part string `json:"part"`
	Sound
}

// Point is the response at one frequency, in dB over the EMF of one coil.
type Point struct {
	FrequencyHz float64
	LevelDB     fit.Quantity
}

// The band in which a peak is looked for, and the response is shown.
const (
	lowestPeakHz   = 50
	highestPeakHz  = 40e3
	shownFromHz    = 50
	shownToHz      = 20e3
	shownPerDecade = 96
	previewEvery   = 3
)

// perSound is the number of quantities in a Sound.
const perSound = 4

var soughtSound = [perSound]fit.Sought{
	{Missing: "the response falls from the plateau without a peak", Frequency: true},
	{Missing: "the response falls from the plateau without a peak", Decibel: true},
	{Missing: "nothing resonates"},
	{Missing: "nothing reaches the amplifier: the coils cancel, or the volume is at 0", Decibel: true},
}

// sound writes peak, its height, Q and level of a harness; NaN for what does
// not exist.
func sound(h circuit.Harness, dst []float64) {
	fill(dst[:perSound], math.NaN())
	r, err := h.Response()
	if err != nil {
		return
	}
	dst[0], dst[1], dst[2] = r.Sound(lowestPeakHz, highestPeakHz)
	if plateau, err := r.Plateau(); err == nil && plateau > 0 {
		dst[3] = 20 * math.Log10(plateau)
	}
}

// Evaluate writes what h does with coils, measured or not, and its Parts at sizes in
// SI units: the four quantities of Sought, then the level at each of hz; NaN for
// what does not exist.
func (h Harness) Evaluate(coils []circuit.Coil, parts []Part, at, hz, dst []float64) {
	h.EvaluateAs(coils, func(*circuit.Harness) {}, parts, at, hz, dst)
}

// EvaluateAs is Evaluate for coils that alter connects otherwise than h says.
func (h Harness) EvaluateAs(coils []circuit.Coil, alter func(*circuit.Harness), parts []Part, at, hz, dst []float64) {
	built := h.circuit(coils, sizesOf(parts, at))
	alter(&built)
	sound(built, dst)
	levels(built, hz, dst[perSound:])
}

// Sought are the quantities of a Sound for fit.Propagate, and levels at n frequencies.
func Sought(n int) []fit.Sought {
	return slices.Concat(soughtSound[:], slices.Repeat(soughtSound[3:], n))
}

// NewSound takes a Sound and the levels at hz from what was propagated by Sought.
func NewSound(q []fit.Quantity, hz []float64) (s Sound, response []Point) {
	for i, hz := range hz {
		response = append(response, Point{hz, q[perSound+i]})
	}
	return asSound(q), response
}

func asSound(q []fit.Quantity) Sound { return Sound{Peak: q[0], PeakDB: q[1], Q: q[2], Level: q[3]} }

// groups are the parts that are taken away together.
var groups = []struct {
	name  string
	parts []string
}{
	{"volume pot", []string{VolumePot, BleedC, BleedParallel, BleedSeries}},
	{"tone control", []string{TonePot, ToneCapacitor}},
	{"bleed parts", []string{BleedC, BleedParallel, BleedSeries}},
	{"cable", []string{CableC}},
	{"amplifier's resistance", []string{AmplifierR}},
	{"amplifier's capacitance", []string{AmplifierC}},
}

// Predict works out the signal of the coils in h. The errors are wrong descriptions
// (Check), another number of coils than h wants, and coils whose own
// capacitance is not known.
func (h Harness) Predict(coils []Coil) (*Prediction, error) { return h.predict(coils, true) }

// Preview is Predict without the other positions of the knobs and without
// taking parts away, with the U95 of the response at every third frequency and in
// straight lines between: some twenty times as quick, for knobs that are being turned.
func (h Harness) Preview(coils []Coil) (*Prediction, error) { return h.predict(coils, false) }

func (h Harness) predict(coils []Coil, whole bool) (*Prediction, error) {
	parts, bare, assumed, err := h.ready(coils)
	if err != nil {
		return nil, err
	}
	p := &Prediction{Harness: h.Name, Assumptions: append([]string{}, assumed...), Warnings: []string{},
		Positions: []Position{}, Without: []Removal{}}
	if len(coils) == 2 {
		p.Assumptions = append(p.Assumptions,
			"both coils are assumed to give the same EMF; on a guitar strings and positions differ")
	}

	// All quantities, in one propagation.
	type variant struct {
		harness Harness
		without []string
	}
	variants := []variant{{harness: h}}
	volume, tone := 0.0, 0.0
	if h.Volume != nil {
		volume = h.Volume.position()
	}
	if h.Tone != nil {
		tone = h.Tone.position()
	}
	if whole && h.Volume != nil {
		for at := fullPosition; at >= 1; at-- {
			p.Positions = append(p.Positions, Position{Volume: &at})
			variants = append(variants, variant{harness: h.at(at, tone)})
		}
	}
	if whole && h.Tone != nil {
		for at := fullPosition; at >= 0; at-- {
			p.Positions = append(p.Positions, Position{Tone: &at})
			variants = append(variants, variant{harness: h.at(volume, at)})
		}
	}
	for _, g := range groups {
		if !whole {
			break
		}
		for _, part := range parts {
			if part.Name == g.parts[0] {
				p.Without = append(p.Without, Removal{Part: g.name})
				variants = append(variants, variant{h, g.parts})
			}
		}
	}
	shown, every := ShownFrequencies(), 1
	if !whole {
		every = previewEvery
	}
	var frequencies []float64
	for i := 0; i < len(shown); i += every {
		frequencies = append(frequencies, shown[i])
	}
	sought := slices.Concat(slices.Repeat(soughtSound[:], len(variants)),
		slices.Repeat(soughtSound[3:], len(frequencies)))
	quantities, err := propagate(coils, parts, sought, func(c []circuit.Coil, values, dst []float64) {
		for i, v := range variants {
			size := sizes{}
			for k, part := range parts {
				if !slices.Contains(v.without, part.Name) {
					size[part.Name] = values[k]
				}
			}
			built := v.harness.circuit(c, size)
			sound(built, dst[perSound*i:])
			if i == 0 {
				levels(built, frequencies, dst[perSound*len(variants):])
			}
		}
	})
	if err != nil {
		return nil, err
	}
	at := func(i int) Sound { return asSound(quantities[perSound*i:]) }
	p.Sound = at(0)
	for i := range p.Positions {
		p.Positions[i].Sound = at(1 + i)
	}
	for i := range p.Without {
		p.Without[i].Sound = at(1 + len(p.Positions) + i)
	}
	exact := make([]float64, len(shown))
	if !whole {
		levels(h.circuit(bare, nominal(parts)), shown, exact)
	}
	for i, hz := range shown {
		q := quantities[perSound*len(variants)+i/every:]
		p.Response = append(p.Response, Point{hz, between(q, exact[i], float64(i%every)/float64(every))})
	}
	for _, c := range coils {
		p.Coils = append(p.Coils, c.Name)
	}
	return p, nil
}

// between is a quantity of that value a share of the way from q[0] to q[1], with
// uncertainties on a straight line between theirs; with share 0 it is q[0].
func between(q []fit.Quantity, value, share float64) fit.Quantity {
	switch {
	case share == 0 || !q[0].Known():
		return q[0]
	case len(q) < 2:
		return fit.Quantity{Value: value, U: q[0].U, U95: q[0].U95}
	case !q[1].Known():
		return q[1]
	}
	along := func(a, b float64) float64 { return a + share*(b-a) }
	return fit.Quantity{Value: value, U: along(q[0].U, q[1].U), U95: along(q[0].U95, q[1].U95)}
}

// ready checks h against the coils, and lists its parts and the coils' circuits.
func (h Harness) ready(coils []Coil) (parts []Part, bare []circuit.Coil, assumed []string, err error) {
	want, err := h.Check()
	if err != nil {
		return nil, nil, nil, err
	}
	if len(coils) != want {
		return nil, nil, nil, fmt.Errorf("the harness is wired for %d coils, not %d: wiring is for two", want,
			len(coils))
	}
	for _, c := range coils {
		b, err := c.Fitted.Bare()
		if err != nil {
			return nil, nil, nil, fmt.Errorf("%s: %w", c.Name, err)
		}
		bare = append(bare, b)
	}
	parts, assumed = h.Parts()
	return parts, bare, assumed, nil
}

func propagate(coils []Coil, parts []Part, sought []fit.Sought,
	f func(c []circuit.Coil, values, dst []float64)) ([]fit.Quantity, error) {
	var fitted []fit.Uncertain
	for _, c := range coils {
		fitted = append(fitted, c.Fitted)
	}
	var values []quantity.Value
	for _, p := range parts {
		values = append(values, p.Value)
	}
	return fit.Propagate(fitted, values, sought, f)
}

// ShownFrequencies are even steps of the logarithm over the band, those that
// ngspice takes for shownPerDecade.
func ShownFrequencies() []float64 {
	var f []float64
	n := math.Floor(shownPerDecade * math.Log10(shownToHz/shownFromHz))
	for i := 0.0; i <= n; i++ {
		f = append(f, shownFromHz*math.Pow(shownToHz/shownFromHz, i/n))
	}
	return f
}

// levels writes |transfer| in dB at the frequencies.
func levels(h circuit.Harness, frequencies, dst []float64) {
	r, err := h.Response()
	for i, hz := range frequencies {
		dst[i] = math.NaN()
		if err != nil {
			continue
		}
		if v, err := r.Transfer(complex(0, 2*math.Pi*hz)); err == nil && v != 0 {
			dst[i] = 20 * math.Log10(cmplx.Abs(v))
		}
	}
}

// WriteNetlist writes the harness with the coils as fitted and the parts at
// their nominal sizes as a netlist for ngspice, with an analysis over the band
// that is shown.
func (h Harness) WriteNetlist(w io.Writer, coils []Coil) error {
	parts, bare, _, err := h.ready(coils)
	if err != nil {
		return err
	}
	network, out, err := h.circuit(bare, nominal(parts)).Network()
	if err != nil {
		return err
	}
	title := cmp.Or(h.Name, "coils in a harness")
	return network.WriteNetlist(w,
		circuit.Netlist{Title: title, FromHz: shownFromHz, ToHz: shownToHz, PointsPerDecade: shownPerDecade,
			Print: []circuit.Node{out}})
}

// sizesOf are the parts with values in SI units, in the same order.
func sizesOf(parts []Part, values []float64) sizes {
	s := sizes{}
	for k, p := range parts {
		s[p.Name] = values[k]
	}
	return s
}

func nominal(parts []Part) sizes {
	s := sizes{}
	for _, p := range parts {
		s[p.Name] = p.Value.SI
	}
	return s
}

// Solution is the capacitor that puts the peak where it is wanted.
type Solution struct {
	Part     string       `json:"part"` // CableC or ToneCapacitor
	TargetHz float64      `json:"target_hz"`
	Farad    fit.Quantity `json:"capacitance_f"`
	// LengthM is the length of cable, where its capacitance per metre is stated.
	LengthM *float64 `json:"length_m,omitempty"`
}

// The capacitances that Solve looks through.
const (
	leastF     = 1e-12
	mostF      = 1e-6
	fPerDecade = 16
)

// Solve finds the capacitance of part (CableC or ToneCapacitor) that puts the
// peak at targetHz, with the uncertainty from the coils and the other parts.
// The error says how far the peak can be moved where the target is out of
// reach.
func (h Harness) Solve(coils []Coil, part string, targetHz float64) (*Solution, error) {
	switch {
	case part == ToneCapacitor && h.Tone == nil:
		return nil, errors.New("there is no tone control whose capacitor could be chosen")
	case part != CableC && part != ToneCapacitor:
		return nil, fmt.Errorf("%s cannot be solved for: only the cable and the tone capacitor can", part)
	case !(targetHz > lowestPeakHz && targetHz < highestPeakHz):
		return nil, fmt.Errorf("a peak at %g Hz: want between %g and %g Hz", targetHz, float64(lowestPeakHz),
			highestPeakHz)
	}
	all, bare, _, err := h.ready(coils)
	if err != nil {
		return nil, err
	}
	others := slices.DeleteFunc(all, func(p Part) bool { return p.Name == part })
	peak := func(c []circuit.Coil, size sizes, farad float64) float64 {
		size[part] = farad
		var s [perSound]float64
		sound(h.circuit(c, size), s[:])
		return s[0]
	}
	farad, err := solve(func(farad float64) float64 { return peak(bare, nominal(others), farad) }, targetHz)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", part, err)
	}
	// The solution moves with the peak at it: dC = -dpeak/(dpeak/dC).
	q, err := propagate(coils, others, soughtSound[:1], func(c []circuit.Coil, values, dst []float64) {
		dst[0] = peak(c, sizesOf(others, values), farad)
	})
	if err != nil {
		return nil, err
	}
	s := &Solution{Part: part, TargetHz: targetHz}
	if !q[0].Known() {
		s.Farad = q[0]
		return s, nil
	}
	const step = 1e-3
	slope := (peak(bare, nominal(others), farad*(1+step)) - peak(bare, nominal(others),
		farad*(1-step))) / (2 * step * farad)
	s.Farad = fit.Quantity{Value: farad, U: q[0].U / math.Abs(slope), U95: q[0].U95 / math.Abs(slope)}
	if part == CableC && h.Cable != nil && h.Cable.PerMetre != nil {
		s.LengthM = new(farad / h.Cable.PerMetre.SI)
	}
	return s, nil
}

// solve is the capacitance at which the peak is at the target. A jump of the peak from
// one maximum to another is no solution.
func solve(peak func(farad float64) float64, targetHz float64) (float64, error) {
	steps := int(fPerDecade * math.Log10(mostF/leastF))
	farad, lowest, highest := Reach(peak, targetHz, leastF, mostF, steps, 1e-6)
	if !math.IsNaN(farad) {
		return farad, nil
	}
	if math.IsInf(lowest, 1) {
		return 0, errors.New("there is no peak, whatever its capacitance")
	}
	return 0, fmt.Errorf("from %s to %s it moves the peak between %s and %s: %s is out of reach",
		quantity.Format(leastF, quantity.Farad, 1), quantity.Format(mostF, quantity.Farad, 1),
		quantity.Format(lowest, quantity.Hertz, 3), quantity.Format(highest, quantity.Hertz, 3),
		quantity.Format(targetHz, quantity.Hertz, 3))
}
