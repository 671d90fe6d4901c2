// Package joint finds the circuit that explains all takes of a coil together,
// with its uncertainty, and judges which values the takes leave unknown.
package joint

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/leastsquares"
)

// joint is the least-squares problem of all takes with one form: the
// responses weighted by their measured variances, and the priors.
//
// Parameters, in this order: ln L, ln R, ln C, where C is all the capacitance in
// the first take with nothing added, its fixture included; for each eddy-current
// loop a share fraction and ln t; the same for the solid core; ln t of the cover;
// with dielectric loss the dissipation factor of C; ln of every part; the
// dissipation factor of every added capacitor; with several takes the change of
// ln R in each; the parts' common scale error; the fall of the exciter's current over
// its limit; without a reference, ln of the
// sound card's two low-end corners and the six coefficients of its upper edge;
// for each take ln gain and the delay in µs. Shares are broken off a stick one
// after the other (logistic fractions of what is left), so that k_i > 0 and their
// sum is below 1 everywhere: every point is passive.
type joint struct {
	form   fit.Form
	takes  []Take
	parts  partList
	priors []prior

	firstRing, firstPart, firstDrift, scale, firstCorner, firstEdge, firstTake, n int
	// drive is the column of the exciter current's fall; -1: it is known.
	drive int
	// lossOf is the column of each part's dissipation factor, -1: it has none.
	lossOf []int

	omega    [][]float64       // angular frequency by take and point
	points   [][]circuit.Point // the same
	weight   [][]float64       // 1/u of each component, but for what the takes of a group have in common
	polarity []float64         // by take
	groups   []group
	// ownDB is the limit of what the sound card leaves in one take alone.
	ownDB float64
	// free: what the takes of a group have in common may be anything within freeDB,
	// and residuals are logarithms.
	free bool
	// sharedGain: all takes have the gain of the first.
	sharedGain bool
	// widen multiplies the u of the data where no model fits.
	widen float64
	// behind is the resistor in series with the input, before all of the fixture's
	// capacitance, over its limit: linearized residuals are with it, to first order. 0 in
	// every search.
	behind float64
}

const (
	atL = iota
	atR
	atC
)

// Weak priors keep the search where circuits are; their share in the
// uncertainty of a result decides whether the result is known at all.
const (
	weakLnU       = 3.0 // of L, R, C: a factor of 20 either way
	shareMean     = -2.2
	shareU        = 2.0
	ringCornerHz  = 2000
	ringLnU       = 1.5
	coverCornerHz = 20000
	coverLnU      = 1.5
	cornerLnU     = 1.5
)

// dielectricLoss is the prior of the dissipation factor of the coil's own
// capacitance: enamelled wire, with what lies between (typical: 0.001 to 0.015).
var dielectricLoss = dissipation{mean: 0.004, u: 0.006}

// driftU is the standard uncertainty of ln R in one take about that of all: copper
// within some 0.4 K.
const driftU = 1e-3

type knowledge struct {
	resistance *part            // the DC resistance at the takes' temperature
	inductance *part            // a meter's L that the user wants used
	meter      *meterInductance // how it was read
	scaleU     float64          // relative u of the scale of the meter behind the added parts
}

func newJoint(form fit.Form, q request, start circuit.Coil) *joint {
	takes, parts, know := q.takes, q.parts, q.know
	j := &joint{form: form, takes: takes, parts: parts, sharedGain: q.sharedGain, ownDB: q.ownDB,
		free: q.free, widen: 1}
	j.firstRing = atC + 1
	j.firstPart = j.firstRing + j.eddyColumns()
	if form.Cover {
		j.firstPart++
	}
	if form.Loss {
		j.firstPart++
	}
	j.firstDrift = j.firstPart + len(parts.parts)
	for _, p := range parts.parts {
		column := -1
		if p.loss.u > 0 {
			column = j.firstDrift
			j.firstDrift++
		}
		j.lossOf = append(j.lossOf, column)
	}
	j.scale = j.firstDrift
	if len(takes) > 1 {
		j.scale += len(takes)
	}
	j.firstCorner = j.scale
	if know.scaleU > 0 {
		j.firstCorner++
	}
	j.drive = -1
	if slices.ContainsFunc(takes, Take.fallUnknown) {
		j.drive = j.firstCorner
		j.firstCorner++
	}
	j.firstEdge, j.firstTake = j.firstCorner, j.firstCorner
	unreferenced := false
	for _, t := range takes {
		unreferenced = unreferenced || !t.Referenced
	}
	if unreferenced {
		j.firstEdge += len(lowCornersHz)
		j.firstTake = j.firstEdge + len(edgeU)
	}
	j.n = j.firstTake + 2*len(takes)

	j.addPriors(q, start)
	for i, t := range takes {
		j.polarity = append(j.polarity, 1)
		if i > 0 && slices.Equal(t.Response.FrequencyHz, takes[i-1].Response.FrequencyHz) {
			j.omega, j.points = append(j.omega, j.omega[i-1]), append(j.points, j.points[i-1])
			continue
		}
		omega, points := make([]float64, len(t.Response.H)), make([]circuit.Point, len(t.Response.H))
		for k, hz := range t.Response.FrequencyHz {
			omega[k] = 2 * math.Pi * hz
			points[k] = circuit.At(complex(0, omega[k]))
		}
		j.omega, j.points = append(j.omega, omega), append(j.points, points)
	}
	j.groupTakes()
	j.weigh(0)
	return j
}

// addPriors puts down what is known besides the takes.
func (j *joint) addPriors(q request, start circuit.Coil) {
	form, parts, know, eddy := j.form, q.parts, q.know, j.eddyColumns()
	add := func(p prior) {
		if slices.Contains(q.letGo, p.what) {
			p.letGo, p.source, p.u, p.limit = true, sourceWeak, letGoU, false
		}
		j.priors = append(j.priors, p)
	}
	weak := func(column int, mean, u float64) {
		add(prior{source: sourceWeak, columns: [2]int{column, -1}, factors: [2]float64{1, 0}, mean: mean, u: u,
			part: -1})
	}
	weak(atL, math.Log(start.InductanceH), weakLnU)
	weak(atR, math.Log(start.ResistanceOhm), weakLnU)
	weak(atC, math.Log(start.CapacitanceF), weakLnU)
	for i := range eddy / 2 {
		weak(j.firstRing+2*i, shareMean, shareU)
		weak(j.firstRing+2*i+1, -math.Log(2*math.Pi*ringCornerHz), ringLnU)
	}
	if form.Cover {
		weak(j.firstRing+eddy, -math.Log(2*math.Pi*coverCornerHz), coverLnU)
	}
	if know.resistance != nil {
		add(prior{source: sourceDCR, columns: [2]int{atR, -1}, factors: [2]float64{1, 0},
			mean: math.Log(know.resistance.nominal), u: know.resistance.u, part: -1, limit: know.resistance.limit,
			what: know.resistance.what})
	}
	if p := know.inductance; p != nil {
		add(prior{source: sourceMeter, columns: [2]int{-1, -1}, mean: math.Log(p.nominal), u: p.u, part: -1,
			limit: p.limit, meter: know.meter, what: p.what})
	}
	for i, p := range parts.parts {
		pr := prior{source: p.source, columns: [2]int{j.firstPart + i, -1}, factors: [2]float64{1, 0},
			mean: math.Log(p.nominal), u: max(p.u, exactU), part: i, limit: p.limit, what: p.what}
		if p.measured && know.scaleU > 0 {
			pr.columns[1], pr.factors[1] = j.scale, -1
		}
		add(pr)
	}
	one := func(source source, column int, mean, u float64) {
		add(prior{source: source, columns: [2]int{column, -1}, factors: [2]float64{1, 0}, mean: mean, u: u, part: -1})
	}
	if form.Loss {
		one(sourceModel, j.firstPart-1, dielectricLoss.mean, dielectricLoss.u)
	}
	for i, p := range parts.parts {
		if c := j.lossOf[i]; c >= 0 {
			one(sourceLoss, c, p.loss.mean, p.loss.u)
		}
	}
	for c := j.firstDrift; c < j.scale; c++ {
		one(sourceTemperature, c, 0, driftU)
	}
	if know.scaleU > 0 {
		add(prior{source: sourceScale, columns: [2]int{j.scale, -1}, factors: [2]float64{1, 0}, u: know.scaleU,
			part: -1, limit: true})
	}
	if j.drive >= 0 { // from none to its limit
		one(sourceDrive, j.drive, 0.5, 0.5/math.Sqrt(3))
		j.priors[len(j.priors)-1].limit = true
	}
	if j.firstEdge > j.firstCorner {
		for i, f := range lowCornersHz {
			one(sourceCard, j.firstCorner+i, math.Log(2*math.Pi*f), cornerLnU)
		}
		for i, u := range edgeU {
			one(sourceCard, j.firstEdge+i, 0, u)
		}
	}
}

// eddyColumns is the number of parameters of loops or solid core.
func (j *joint) eddyColumns() int {
	if j.form.Cylinder {
		return 2
	}
	return 2 * j.form.Rings
}

// exactU stands for the relative uncertainty of a part that is stated to be
// exact.
const exactU = 1e-9

func (j *joint) columnsOf(take int) []int {
	var c []int
	for i := range j.firstPart {
		c = append(c, i)
	}
	at := j.parts.ofTake[take]
	for _, p := range append([]int{at.load}, at.addedR[:]...) {
		if p >= 0 {
			c = append(c, j.firstPart+p)
		}
	}
	for _, p := range at.addedC {
		if p >= 0 {
			c = append(c, j.firstPart+p)
			if j.lossOf[p] >= 0 {
				c = append(c, j.lossOf[p])
			}
		}
	}
	if j.scale > j.firstDrift {
		c = append(c, j.firstDrift+take)
	}
	if j.takes[take].fallUnknown() {
		c = append(c, j.drive)
	}
	if j.otherFixture(take) {
		c = append(c, j.firstPart+at.fixtureC, j.firstPart+j.parts.firstFixture())
	}
	if !j.takes[take].Referenced {
		for i := j.firstCorner; i < j.firstTake; i++ {
			c = append(c, i)
		}
	}
	return append(c, j.gain(take), j.delay(take))
}

// otherFixture tells whether the take's fixture capacitance is another than the one
// that C holds, so that the split between coil and fixture, on which the responses do
// not depend, is no curved valley.
func (j *joint) otherFixture(take int) bool {
	return j.parts.ofTake[take].fixtureC != j.parts.firstFixture()
}

// gain is the column of the take's ln gain, delay that of its delay.
func (j *joint) gain(take int) int {
	if j.sharedGain {
		take = 0
	}
	return j.firstTake + 2*take
}

func (j *joint) delay(take int) int { return j.firstTake + 2*take + 1 }

// problem is the joint problem for a Solver: a block for each group, and one for
// the priors.
func (j *joint) problem() leastsquares.Problem {
	p := leastsquares.Problem{Parameters: j.n}
	for _, g := range j.groups {
		p.Blocks = append(p.Blocks, leastsquares.Block{Residuals: 2 * len(g.takes) * len(j.omega[g.takes[0]]),
			Columns: g.columns, Runs: g.runs})
	}
	rows := len(j.priors)
	if j.sharedGain {
		rows += len(j.takes) - 1
	}
	all := make([]int, j.n)
	for i := range all {
		all[i] = i
	}
	p.Blocks = append(p.Blocks, leastsquares.Block{Residuals: rows, Columns: all})
	state := newState(j)
	p.Evaluate = func(b int, x, r []float64, jacobian *mat.Dense) {
		if b == len(j.groups) {
			j.evaluatePriors(state, x, r, jacobian)
			return
		}
		state.evaluateGroup(&j.groups[b], x, r, jacobian)
		state.whitenInTurn(&j.groups[b], r, jacobian)
	}
	return p
}

func (j *joint) evaluatePriors(s *state, x, r []float64, jacobian *mat.Dense) {
	if jacobian != nil {
		jacobian.Zero()
	}
	for i := range j.priors {
		p := &j.priors[i]
		r[i] = (p.value(s, x) - p.mean) / p.u
		if jacobian != nil {
			p.slope(s, x, func(column int, d float64) { jacobian.Set(i, column, d/p.u) })
		}
	}
	// With one shared gain the columns of the others are free: hold them.
	for i := len(j.priors); i < len(r); i++ {
		c := j.firstTake + 2*(i-len(j.priors)+1)
		r[i] = x[c]
		if jacobian != nil {
			jacobian.Set(i, c, 1)
		}
	}
}

// state is the scratch memory of one evaluation.
type state struct {
	j        *joint
	coil     circuit.Coil
	rings    [circuit.MaxRings]circuit.Ring
	fraction [circuit.MaxRings]float64
	gradient circuit.Gradient
	along    []complex128 // of each column of a group
	// onGrid is card at omega, which the takes of a group have in common.
	card   cardResponse
	omega  []float64
	onGrid []complex128
}

func newState(j *joint) *state { return &state{j: j, along: make([]complex128, j.n)} }

// setCoil puts the parameters into s.coil.
func (s *state) setCoil(x []float64) {
	j := s.j
	s.coil = circuit.Coil{
		InductanceH:   math.Exp(x[atL]),
		ResistanceOhm: math.Exp(x[atR]),
		CapacitanceF:  math.Exp(x[atC]),
	}
	left := 1.0
	at := j.firstRing
	for i := range j.form.Rings {
		v := logistic(x[at])
		s.fraction[i] = v
		s.rings[i] = circuit.Ring{Share: v * left, TimeS: math.Exp(x[at+1])}
		left *= 1 - v
		at += 2
	}
	s.coil.Rings = s.rings[:j.form.Rings]
	if j.form.Cylinder {
		s.fraction[0] = logistic(x[at])
		s.coil.Cylinder = circuit.Ring{Share: s.fraction[0], TimeS: math.Exp(x[at+1])}
		at += 2
	}
	if j.form.Cover {
		s.coil.CoverTimeS = math.Exp(x[at])
	}
	if j.form.Loss {
		s.coil.CapacitanceLoss = x[j.firstPart-1]
	}
}

// setTake is setCoil at the temperature of a take.
func (s *state) setTake(take int, x []float64) {
	s.setCoil(x)
	if j := s.j; j.scale > j.firstDrift {
		s.coil.ResistanceOhm *= math.Exp(x[j.firstDrift+take])
	}
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
func logit(p float64) float64    { return math.Log(p / (1 - p)) }

// loadParts are the sizes of the parts in a take; 0 siemens or farad where
// there is none.
type loadParts struct {
	load float64 // siemens
	// of each of the added parts in parallel: siemens, farad, dissipation factor
	addedR, addedC, loss [quantity.MostParallel]float64
	// fixtureC is the fixture's capacitance, firstFixtureC the first take's,
	// which the coil's C holds already.
	fixtureC, firstFixtureC float64
}

func (j *joint) loadOf(take int, x []float64) loadParts {
	at := j.parts.ofTake[take]
	size := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return math.Exp(x[j.firstPart+i])
	}
	conductance := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return 1 / size(i)
	}
	l := loadParts{load: conductance(at.load), fixtureC: size(at.fixtureC),
		firstFixtureC: size(j.parts.firstFixture())}
	for i := range at.addedR {
		l.addedR[i], l.addedC[i] = conductance(at.addedR[i]), size(at.addedC[i])
		if c := at.addedC[i]; c >= 0 && j.lossOf[c] >= 0 {
			l.loss[i] = x[j.lossOf[c]]
		}
	}
	return l
}

// conductance in siemens is of all resistors, addedF in farad of all added capacitors.
func (l loadParts) conductance() float64 {
	sum := l.load
	for _, g := range l.addedR {
		sum += g
	}
	return sum
}

func (l loadParts) addedF() (sum float64) {
	for _, c := range l.addedC {
		sum += c
	}
	return sum
}

func (l loadParts) circuit() circuit.Load {
	c := circuit.Load{
		ResistanceOhm: 1 / l.conductance(),
		CapacitanceF:  l.addedF() + (l.fixtureC - l.firstFixtureC),
	}
	for i, loss := range l.loss {
		c.LossF += l.addedC[i] * loss
	}
	return c
}

// evaluate fills the rows of one take: real and imaginary part of (model -
// measured)/u at every frequency. Those of the Jacobian begin at the row first,
// and the k-th column of columnsOf is local[k].
func (s *state) evaluate(take int, x, r []float64, jacobian *mat.Dense, first int, local []int) {
	j := s.j
	s.setTake(take, x)
	parts := j.loadOf(take, x)
	load := parts.circuit()
	response := j.takes[take].Response.H
	points, omega, weight := j.points[take], j.omega[take], j.weight[take]
	gain := math.Exp(x[j.gain(take)]) * j.polarity[take]
	delay := x[j.delay(take)] * 1e-6
	referenced := j.takes[take].Referenced
	var card cardResponse
	if !referenced {
		card = j.cardAt(x)
		s.setCard(card, omega)
	}
	fall := j.fall(take, x)
	conductance := parts.conductance()
	at := j.parts.ofTake[take]
	otherFixture := j.otherFixture(take)
	fixtureF := cmp.Or(parts.fixtureC, unstatedFixtureF)
	behind := j.behind * j.takes[take].inputOhm()
	for i, w := range omega {
		sin, cos := math.Sincos(-w * delay)
		k := complex(gain*cos, gain*sin)
		if !referenced {
			k *= s.onGrid[i]
		}
		if fall != 0 {
			k *= complex(math.Exp(-fall*w*w), 0)
		}
		var h complex128
		if jacobian == nil {
			h = k * s.coil.TransferAt(points[i], load)
		} else {
			h = k * s.coil.TransferGradient(points[i], load, &s.gradient)
		}
		u := complex(weight[i]/j.widen, 0)
		d := u * (h - response[i])
		if j.free {
			u *= complex(cmplx.Abs(response[i]), 0)
			d = u * cmplx.Log(h/response[i])
			u /= h
		}
		if behind != 0 && jacobian != nil {
			d += u * k * s.gradient.Admittance * complex(behind*square(w*fixtureF), 0)
		}
		r[2*i], r[2*i+1] = real(d), imag(d)
		if jacobian == nil {
			continue
		}
		k *= u
		h *= u
		re, im := jacobian.RawRowView(first+2*i), jacobian.RawRowView(first+2*i+1)
		c := 0
		set := func(d complex128) {
			re[local[c]], im[local[c]] = real(d), imag(d)
			c++
		}
		g := &s.gradient
		set(k * g.LnInductance)
		set(k * g.LnResistance)
		onY := k * g.Admittance
		onC, onLoss := onY*complex(0, w), onY*points[i].Loss
		set((onC + onLoss*complex(s.coil.CapacitanceLoss, 0)) * complex(s.coil.CapacitanceF, 0))
		s.setShares(k, set)
		if j.form.Cover {
			set(k * g.LnCoverTime)
		}
		if j.form.Loss {
			set(onLoss * complex(s.coil.CapacitanceF, 0))
		}
		// The order of columnsOf.
		onG := k * g.LnLoad * complex(1/conductance, 0)
		if at.load >= 0 {
			set(onG * complex(parts.load, 0))
		}
		for i, p := range at.addedR {
			if p >= 0 {
				set(onG * complex(parts.addedR[i], 0))
			}
		}
		for i, p := range at.addedC {
			if p >= 0 {
				set((onC + onLoss*complex(parts.loss[i], 0)) * complex(parts.addedC[i], 0))
				if j.lossOf[p] >= 0 {
					set(onLoss * complex(parts.addedC[i], 0))
				}
			}
		}
		if j.scale > j.firstDrift {
			set(k * g.LnResistance)
		}
		if j.takes[take].fallUnknown() {
			set(h * complex(-j.fallLimit(take)*w*w, 0))
		}
		if otherFixture {
			set(onC * complex(parts.fixtureC, 0))
			set(-onC * complex(parts.firstFixtureC, 0))
		}
		if !referenced {
			for _, a := range card.corner {
				// -a/(s+a)
				d := a / (a*a + w*w)
				set(h * complex(-a*d, w*d))
			}
			f := w / (2 * math.Pi * edgeHz)
			f2 := f * f
			set(h * complex(f2, 0))
			set(h * complex(f2*f2, 0))
			set(h * complex(f2*f2*f2, 0))
			set(h * complex(0, f*f2))
			set(h * complex(0, f*f2*f2))
			set(h * complex(0, f*f2*f2*f2))
		}
		set(h)
		set(h * complex(0, -w*1e-6))
	}
}

// setShares hands the derivatives of loops or solid core to set, through the
// broken stick.
func (s *state) setShares(k complex128, set func(complex128)) {
	g := &s.gradient
	if s.j.form.Cylinder {
		v := s.fraction[0]
		set(k * g.CylinderShare * complex(v*(1-v), 0))
		set(k * g.LnCylinder)
		return
	}
	for i := range s.j.form.Rings {
		d := g.RingShare[i] * complex(s.rings[i].Share*(1-s.fraction[i]), 0)
		for later := i + 1; later < s.j.form.Rings; later++ {
			d -= g.RingShare[later] * complex(s.rings[later].Share*s.fraction[i], 0)
		}
		set(k * d)
		set(k * g.LnRingTime[i])
	}
}

// settleTake sets polarity, gain and delay of a take at the circuit x from the
// data: the phase less the circuit's is a straight line over frequency.
func (j *joint) settleTake(take int, x []float64) {
	s := newState(j)
	s.setTake(take, x)
	load := j.loadOf(take, x).circuit()
	response := j.takes[take].Response
	var slopeSum, slopeWeight float64
	ratio := make([]complex128, len(response.H))
	weight := make([]float64, len(response.H))
	var last complex128
	lastW := 0.0
	for i, h := range response.H {
		w := j.omega[take][i]
		ratio[i] = h / s.coil.Transfer(complex(0, w), load)
		snr := cmplx.Abs(h) * j.weight[take][i]
		weight[i] = min(snr, 1000)
		if response.FrequencyHz[i] < 200 || snr < 3 {
			continue
		}
		if last != 0 {
			turn := cmplx.Phase(ratio[i] / last)
			step := w - lastW
			slopeSum += turn * step * weight[i]
			slopeWeight += step * step * weight[i]
		}
		last, lastW = ratio[i], w
	}
	var delay float64
	if slopeWeight > 0 {
		delay = -slopeSum / slopeWeight
	}
	var sum complex128
	var total float64
	for i, q := range ratio {
		if response.FrequencyHz[i] < 200 {
			continue
		}
		w := j.omega[take][i]
		size := cmplx.Abs(q)
		if size == 0 {
			continue
		}
		sum += q / complex(size, 0) * cmplx.Exp(complex(0, w*delay)) * complex(weight[i], 0)
		total += weight[i]
	}
	j.polarity[take] = 1
	if real(sum) < 0 {
		j.polarity[take] = -1
	}
	// Gain from the plateau and up: the median of |ratio| tolerates a peak that
	// is somewhat off.
	var logs []float64
	for i, q := range ratio {
		if response.FrequencyHz[i] >= 100 && weight[i] > 3 {
			if a := cmplx.Abs(q); a > 0 {
				logs = append(logs, math.Log(a))
			}
		}
	}
	if len(logs) > 0 {
		x[j.gain(take)] = median(logs)
	}
	x[j.delay(take)] = delay * 1e6
}
