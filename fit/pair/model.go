package pair

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit/circuit"
	"coilsweep/fit/joint"
	"coilsweep/fit/leastsquares"
)

// prior is Gaussian knowledge of one parameter.
type prior struct {
	column  int
	mean, u float64
	weak    bool // a guess, that a quantity must not rest on
}

// Columns of the parameters that are always there; each coil has its own columns from
// model.coil on: ln L, ln R, ln C, and for each loop the share's logit and ln t.
const (
	atCoupling = iota
	atBetween  // ln F
	atGround   // ln F
	atLay
	atShared     // what shared metal takes off the coupling, for each loop
	fixedColumns = atShared + mostLoops
)

// Weak knowledge of what no take may tell (typical values, no source): capacitances as
// their logarithm, a factor of three; how the windings lie to each other is one of two
// ways or between; shared metal.
const (
	usualBetweenF, usualGroundF = 25e-12, 10e-12
	usualLnU                    = 1.1
	layU                        = 0.58
	couplingU                   = 0.5 // it lies between -1 and 1
	sharedU                     = 0.05
	// metalU is by how much the fields in the two coils may differ at high frequency
	// from what they are at low, as metal of unlike shape makes it.
	metalU = 0.05
	// levelU is how well a sound card keeps its level from take to take, driftU how well
	// copper keeps its resistance (0.4 K).
	levelU, driftU = 1e-3, 1.5e-3
	// delayU is a delay of a take in µs against the others, which its response leaves open.
	delayU  = 100.0
	metalHz = 8e3 // where the metal of a coil without loops would act
)

// perTake are the columns of each take: ln gain, delay in µs, change of ln R.
const perTake = 3

// ofPlace are the columns of the exciter's places: the second coil's EMF over the
// first's, and what it is more at high frequency.
const ofPlace = 2

// model is the least-squares problem of all takes.
type model struct {
	request Request
	loops   int
	n       int
	coil    [2]int
	places  []Place
	place   int // first column of the places
	take    int // first column of the takes
	priors  []prior
	loads   []load
	groups  []group
	said    []string // what was assumed
	// ownU is the relative standard uncertainty of a point by what no circuit explains.
	ownU float64
}

// load is the columns of what is across a take; -1: not there.
type load struct {
	capacitors []column
	resistors  []column
	group      int
}

// column is a part: ln of its size and, of a capacitor, its dissipation factor.
type column struct{ at, loss int }

// group is the takes of one place on their common frequencies.
type group struct {
	takes []int
	omega []float64
	at    []circuit.Point
	h     [][]complex128 // by take of the group
	u     [][]float64    // relative, of one component
	own   [][]float64    // what ownU is multiplied with
	// alike is how many neighbouring points share what no circuit explains: an octave.
	alike float64
}

func newModel(q Request, loops, density int) (*model, error) {
	m := &model{request: q, loops: loops}
	m.coil = [2]int{fixedColumns, fixedColumns + 3 + 2*loops}
	m.n = m.coil[1] + 3 + 2*loops
	m.priors = append(m.priors, prior{atCoupling, 0, couplingU, false})
	weak := func(column int, mean, u float64) { m.priors = append(m.priors, prior{column, mean, u, true}) }
	weak(atBetween, math.Log(usualBetweenF), usualLnU)
	weak(atGround, math.Log(usualGroundF), usualLnU)
	m.priors = append(m.priors, prior{atLay, 0, layU, false})
	for k := range mostLoops {
		m.priors = append(m.priors, prior{atShared + k, 0, sharedU, false})
	}
	for i, c := range q.Coils {
		// Of a share that the takes do not need nothing else is known.
		for k := range loops {
			at := m.coil[i] + 3 + 2*k
			m.priors = append(m.priors, prior{at, -2.5, 3, false}, prior{at + 1, loopStart(k), 3, false})
		}
		r, said, ok := joint.ResistanceAtTakes(c)
		for _, s := range said {
			m.say("%s: %s", c.Name, s)
		}
		if ok {
			m.priors = append(m.priors, prior{m.coil[i] + 1, math.Log(r.Ohm), r.RelativeU, false})
		}
	}
	m.setLoads()
	m.place = m.n
	for _, t := range q.Takes {
		if !slices.Contains(m.places, t.Place) {
			m.places = append(m.places, t.Place)
			m.priors = append(m.priors, prior{m.n + 1, 0, metalU, false})
			m.n += ofPlace
		}
	}
	m.take = m.n
	for i, t := range q.Takes {
		at := m.take + perTake*i
		gain := prior{at, 0, levelU, false}
		if t.LevelChanged {
			gain.u = 3
		}
		m.priors = append(m.priors, gain, prior{at + 1, 0, delayU, false}, prior{at + 2, 0, driftU, false})
		m.n += perTake
	}
	return m, m.group(density)
}

func (m *model) say(format string, args ...any) {
	if s := fmt.Sprintf(format, args...); !slices.Contains(m.said, s) {
		m.said = append(m.said, s)
	}
}

// loopStart is ln of the time constant from which loop k is searched.
func loopStart(k int) float64 { return math.Log([mostLoops]float64{1.5e-5, 1e-4, 5e-6}[k]) }

// setLoads gives each known part its columns: the same text is the same piece.
func (m *model) setLoads() {
	index := map[string]column{}
	part := func(kind string, v quantity.Value, capacitor bool) column {
		key := kind + " " + v.String()
		if c, ok := index[key]; ok {
			return c
		}
		v, said := joint.WithTolerance(kind, v)
		if said != "" {
			m.say("%s", said)
		}
		c := column{m.n, -1}
		m.priors = append(m.priors, prior{m.n, math.Log(v.SI), max(v.U()/v.SI, 1e-6), false})
		m.n++
		if capacitor {
			d, u, _ := capture.CapacitorLoss(v.Dielectric)
			c.loss = m.n
			m.priors = append(m.priors, prior{m.n, d, u, false})
			m.n++
		}
		index[key] = c
		return c
	}
	for _, t := range m.request.Takes {
		var l load
		l.capacitors = append(l.capacitors, part("fixture C", t.Load.FixtureC.Value, false))
		for _, added := range []struct {
			kind  string
			value *quantity.Value
			to    *[]column
		}{{"added C", addedC(t.Load), &l.capacitors}, {"added R", addedR(t.Load), &l.resistors}} {
			if added.value == nil {
				continue
			}
			for k, v := range added.value.Components() {
				kind := added.kind
				if k > 0 {
					kind = fmt.Sprintf("%s (no. %d)", kind, k+1)
				}
				*added.to = append(*added.to, part(kind, v, added.kind == "added C"))
			}
		}
		if r := t.Load.FixtureR; r != nil {
			l.resistors = append(l.resistors, part("fixture R", r.Value, false))
		} else {
			c, ok := index["input"]
			if !ok {
				c = column{m.n, -1}
				index["input"] = c
				m.priors = append(m.priors, prior{m.n, math.Log(joint.AssumedInputOhm), joint.AssumedInputLnU, false})
				m.n++
				m.say("the input's resistance is not stated: about %s is assumed, uncertain by a factor of %.1f",
					quantity.Format(joint.AssumedInputOhm, quantity.Ohm, 2), math.Exp(quantity.Coverage95*joint.AssumedInputLnU))
			}
			l.resistors = append(l.resistors, c)
		}
		m.loads = append(m.loads, l)
	}
}

func addedC(l capture.Load) *quantity.Value {
	if l.AddedC == nil {
		return nil
	}
	return &l.AddedC.Value
}

func addedR(l capture.Load) *quantity.Value {
	if l.AddedR == nil {
		return nil
	}
	return &l.AddedR.Value
}

// group sorts the takes by place, on the frequencies that all of a place have; density is
// how many of them an octave at least, of which no more than twice as many are used; 0: all.
func (m *model) group(density int) error {
	for p, place := range m.places {
		var g group
		count := map[float64]int{}
		for i, t := range m.request.Takes {
			if t.Place == place {
				g.takes = append(g.takes, i)
				m.loads[i].group = p
				for _, hz := range t.Response.FrequencyHz {
					count[hz]++
				}
			}
		}
		for i, first := range g.takes {
			var h []complex128
			var u []float64
			r := m.request.Takes[first].Response
			for k, hz := range r.FrequencyHz {
				if count[hz] < len(g.takes) {
					continue
				}
				if i == 0 {
					g.omega = append(g.omega, 2*math.Pi*hz)
				}
				h, u = append(h, r.H[k]), append(u, math.Sqrt(r.Variance[k]/2)/cmplx.Abs(r.H[k]))
			}
			g.h, g.u, g.own = append(g.h, h), append(g.u, u), append(g.own, slices.Repeat([]float64{1}, len(h)))
		}
		octaves := math.Log2(g.omega[len(g.omega)-1] / g.omega[0])
		if stride := int(float64(len(g.omega)) / octaves / float64(max(1, density))); density > 0 && stride > 1 {
			g.omega = every(g.omega, stride)
			for i := range g.takes {
				g.h[i], g.u[i], g.own[i] = every(g.h[i], stride), every(g.u[i], stride), every(g.own[i], stride)
			}
		}
		if len(g.omega) < 50 {
			return fmt.Errorf("the takes with the exciter over %s have only %d frequencies in common: make them all with "+
				"the same sweep", place, len(g.omega))
		}
		for _, w := range g.omega {
			g.at = append(g.at, circuit.At(complex(0, w)))
		}
		g.alike = max(1, float64(len(g.omega)-1)/octaves)
		m.groups = append(m.groups, g)
	}
	return nil
}

// every is one of stride of v.
func every[T any](v []T, stride int) (out []T) {
	for k := 0; k < len(v); k += stride {
		out = append(out, v[k])
	}
	return out
}

// pair is the circuit at x.
func (m *model) pair(x []float64) (p circuit.Pair) {
	logT := [max(1, mostLoops)]float64{-math.Log(2 * math.Pi * metalHz)}
	for i := range p.Coils {
		c, at := &p.Coils[i], m.coil[i]
		c.InductanceH, c.ResistanceOhm, c.CapacitanceF = math.Exp(x[at]), math.Exp(x[at+1]), math.Exp(x[at+2])
		left := 1.0
		for k := range m.loops {
			share := left / (1 + math.Exp(-x[at+3+2*k]))
			left -= share
			c.Rings = append(c.Rings, circuit.Ring{Share: share, TimeS: math.Exp(x[at+4+2*k])})
			logT[k] = (x[m.coil[0]+4+2*k] + x[at+4+2*k]) / 2
		}
	}
	p.Coupling = x[atCoupling]
	p.BetweenF, p.GroundF, p.Lay = math.Exp(x[atBetween]), math.Exp(x[atGround]), x[atLay]
	for k := range max(1, m.loops) {
		p.Shared = append(p.Shared, circuit.Ring{Share: x[atShared+k], TimeS: math.Exp(logT[k])})
	}
	return p
}

// loadAt is what is across take t.
func (m *model) loadAt(t int, x []float64) (l circuit.Load) {
	conductance := 0.0
	for _, r := range m.loads[t].resistors {
		conductance += math.Exp(-x[r.at])
	}
	l.ResistanceOhm = 1 / conductance
	for _, c := range m.loads[t].capacitors {
		farad := math.Exp(x[c.at])
		l.CapacitanceF += farad
		if c.loss >= 0 {
			l.LossF += farad * x[c.loss]
		}
	}
	return l
}

// connect is the pair p at x as take t has it.
func (m *model) connect(t int, p circuit.Pair, x []float64) circuit.ConnectedPair {
	drift := math.Exp(x[m.take+perTake*t+2])
	for i := range p.Coils {
		p.Coils[i].ResistanceOhm *= drift
	}
	return p.Connect(m.request.Takes[t].Connection, m.loadAt(t, x))
}

// emf is the coils' EMFs over the first's at a place; metal is how far up in frequency s is for what
// the place's second column says: from 0 to 1.
func (m *model) emf(place int, p *circuit.Pair, x []float64, s complex128) (emf [2]complex128, metal complex128) {
	at := m.place + ofPlace*place
	st := s * complex(p.Shared[0].TimeS, 0)
	metal = st / (1 + st)
	return [2]complex128{1, complex(x[at], 0) * (1 + complex(x[at+1], 0)*metal)}, metal
}

// respond writes take t's response at x over its group's frequencies, but for gain and
// delay. parts: the sizes of the two coils' parts of it over its own are wanted as well.
func (m *model) respond(t int, x []float64, dst []complex128, parts []float64) {
	p := m.pair(x)
	connected, place := m.connect(t, p, x), m.loads[t].group
	var d *circuit.PairGradient
	if parts != nil {
		d = new(circuit.PairGradient)
	}
	for k, at := range m.groups[place].at {
		windings := p.At(at)
		emf, _ := m.emf(place, &p, x, at.S)
		dst[k] = connected.Transfer(&windings, emf, d)
		if parts != nil {
			parts[k] = cmplx.Abs(d.EMF[0]) + cmplx.Abs(d.EMF[1]*emf[1])
		}
	}
}

// weigh takes what no circuit explains as a part of each coil's share in a response: where
// the two nearly cancel it is large beside what is left.
func (m *model) weigh(x []float64) {
	for _, g := range m.groups {
		for i, t := range g.takes {
			m.respond(t, x, make([]complex128, len(g.omega)), g.own[i])
		}
	}
}

// sigma is the relative standard uncertainty of a component of point k of take i of g.
func (m *model) sigma(g *group, i, k int) float64 {
	return math.Hypot(g.u[i][k], math.Sqrt(g.alike)*m.ownU*g.own[i][k])
}

// problem is the model as a sum of squares: a block for each place, and the priors.
func (m *model) problem() leastsquares.Problem {
	p := leastsquares.Problem{Parameters: m.n}
	all := make([]int, m.n)
	for i := range all {
		all[i] = i
	}
	for _, g := range m.groups {
		p.Blocks = append(p.Blocks, leastsquares.Block{Residuals: 2 * len(g.takes) * len(g.omega), Columns: all})
	}
	p.Blocks = append(p.Blocks, leastsquares.Block{Residuals: len(m.priors), Columns: all})
	p.Evaluate = func(b int, x, r []float64, jacobian *mat.Dense) {
		if jacobian != nil {
			jacobian.Zero()
		}
		if b < len(m.groups) {
			m.evaluate(&m.groups[b], x, r, jacobian)
			return
		}
		for i, p := range m.priors {
			r[i] = (x[p.column] - p.mean) / p.u
			if jacobian != nil {
				jacobian.Set(i, p.column, 1/p.u)
			}
		}
	}
	return p
}

// evaluate writes the residuals ln(model/measured) of a group over their uncertainty,
// after what all its takes have in common at a frequency is taken out.
func (m *model) evaluate(g *group, x, r []float64, jacobian *mat.Dense) {
	points := len(g.omega)
	row := func(i, k int) int { return 2 * (i*points + k) }
	p, place := m.pair(x), m.loads[g.takes[0]].group
	connected := make([]circuit.ConnectedPair, len(g.takes))
	for i, t := range g.takes {
		connected[i] = m.connect(t, p, x)
	}
	var d *circuit.PairGradient
	var c *chain
	if jacobian != nil {
		d, c = new(circuit.PairGradient), m.newChain(&p, place, x)
	}
	for k, w := range g.omega {
		at := p.At(g.at[k])
		emf, metal := m.emf(place, &p, x, at.S)
		if jacobian != nil {
			c.to(g.at[k], metal)
		}
		for i, t := range g.takes {
			h := connected[i].Transfer(&at, emf, d)
			gain, delay := x[m.take+perTake*t], x[m.take+perTake*t+1]*1e-6
			v := cmplx.Log(h/g.h[i][k]*cmplx.Rect(1, -w*delay)) + complex(gain, 0)
			r[row(i, k)], r[row(i, k)+1] = real(v), imag(v)
			if jacobian != nil {
				c.write(t, d, jacobian.RawRowView(row(i, k)), jacobian.RawRowView(row(i, k)+1))
			}
		}
	}
	weight := make([]float64, len(g.takes))
	mean := make([]float64, m.n+1)
	for k := range points {
		sum := 0.0
		for i := range g.takes {
			sigma := m.sigma(g, i, k)
			weight[i] = 1 / (sigma * sigma)
			sum += weight[i]
		}
		for part := range 2 {
			clear(mean)
			for i := range g.takes {
				at, w := row(i, k)+part, weight[i]/sum
				mean[m.n] += w * r[at]
				if jacobian != nil {
					for c, v := range jacobian.RawRowView(at) {
						mean[c] += w * v
					}
				}
			}
			for i := range g.takes {
				at, w := row(i, k)+part, math.Sqrt(weight[i])
				r[at] = (r[at] - mean[m.n]) * w
				if jacobian != nil {
					raw := jacobian.RawRowView(at)
					for c := range raw {
						raw[c] = (raw[c] - mean[c]) * w
					}
				}
			}
		}
	}
}
