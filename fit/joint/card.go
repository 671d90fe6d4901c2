package joint

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/fit/leastsquares"
)

// lowCornersHz are the centres of the weak priors of the sound card's two
// low-end corners, common practice.
var lowCornersHz = [2]float64{1, 4}

// The upper edge of the sound card's band without a reference: with x = f over
// edgeHz, ln|K| = a x² + b x⁴ + c x⁶ and arg K = d x³ + e x⁵ + f x⁷ (what is
// linear in x is delay). edgeU are the weak priors' u of a, b, c (neper) and d,
// e, f (radian): a card may be down by 2 dB at the edge, common practice for a
// cheap one.
const edgeHz = 20000

var edgeU = [6]float64{0.15, 0.15, 0.15, 0.3, 0.3, 0.3}

// cardResponse is the sound card's response at the ends of its band.
type cardResponse struct {
	corner [2]float64 // rad/s: s/(s+a) · s/(s+b)
	edge   [6]float64 // as edgeU
}

func (j *joint) cardAt(x []float64) cardResponse {
	return cardResponse{
		corner: [2]float64{math.Exp(x[j.firstCorner]), math.Exp(x[j.firstCorner+1])},
		edge:   [6]float64(x[j.firstEdge:j.firstTake]),
	}
}

func (c *cardResponse) at(w float64) complex128 {
	f := w / (2 * math.Pi * edgeHz)
	f2 := f * f
	size := math.Exp(f2 * (c.edge[0] + f2*(c.edge[1]+f2*c.edge[2])))
	sin, cos := math.Sincos(f * f2 * (c.edge[3] + f2*(c.edge[4]+f2*c.edge[5])))
	return complex(size*cos, size*sin) * highPass(w, c.corner[0]) * highPass(w, c.corner[1])
}

// setCard leaves the card's response at omega in s.onGrid.
func (s *state) setCard(card cardResponse, omega []float64) {
	if len(s.omega) > 0 && &omega[0] == &s.omega[0] && card == s.card {
		return
	}
	s.card, s.omega, s.onGrid = card, omega, slices.Grow(s.onGrid[:0], len(omega))
	for _, w := range omega {
		s.onGrid = append(s.onGrid, card.at(w))
	}
}

// highPass is s/(s+corner).
func highPass(w, corner float64) complex128 {
	d := w*w + corner*corner
	return complex(w*w/d, w*corner/d)
}

// ripplePoints is the number of points of a grid of 80 an octave over which the
// sound card's ripple counts as the same: unlike noise it does not average out
// over them. ownPoints is that of what differs between takes.
const (
	ripplePoints = 80
	ownPoints    = 30
)

// limits are those of the take's sound card.
func (t Take) limits() capture.Card { return t.Card.OrUsual(t.Referenced) }

// neperU is the standard uncertainty in neper of a limit in dB.
func neperU(db float64) float64 { return db * math.Ln10 / 20 / math.Sqrt(3) }

// rippleU is the standard uncertainty, in neper, of a response from the sound
// card's ripple.
func (t Take) rippleU() float64 {
	if t.Ideal {
		return 0
	}
	return neperU(t.limits().RippleDB)
}

// freeDB is the limit of a factor that is common to the takes of a group and no
// sound card's: what an exciter induces in two coils at once differs over frequency
// by that from what one has. The residuals are then logarithms, in which a factor is
// a sum: a large one would pull a model to zero.
const freeDB = 3.0

// fallUnknown tells whether the exciter's current falls by an amount that is not
// known, and is not taken for a fall of the sound card.
func (t Take) fallUnknown() bool { return t.Referenced && t.DriveLimitDB > 0 }

// fallLimit is the limit of the fall of the exciter's current in a take, in neper
// over the square of the angular frequency: what resistance and inductance in series
// do well below their corner, but for a delay.
func (j *joint) fallLimit(take int) float64 {
	return j.takes[take].DriveLimitDB * math.Ln10 / 20 / square(2*math.Pi*exciter.DefaultGoal.TopHz)
}

// fall is that at the parameters x.
func (j *joint) fall(take int, x []float64) float64 {
	if !j.takes[take].fallUnknown() {
		return 0
	}
	return x[j.drive] * j.fallLimit(take)
}

// commonU is the standard uncertainty in neper of what the take has in common with
// others.
func (j *joint) commonU(t Take) float64 {
	if j.free && !t.Ideal {
		return neperU(freeDB)
	}
	return t.rippleU()
}

// group are takes on one grid through the same channels of the sound card. What
// the card leaves is one unknown complex factor 1 + c at each point, common to
// them, with Re c and Im c normal of mean 0 and independent from point to point.
// So it drops out of how the takes differ, and no shape over frequency is
// supposed. A group is one block of the problem: the covariance of its residuals
// at a point is 1 + v vᴴ, v the takes' ripple over their noise, and is whitened in
// closed form.
type group struct {
	takes   []int
	columns []int   // of all its takes
	local   [][]int // by take: where its columns are among these
	runs    []leastsquares.Run
	// ripple[i][k] is v of take i at point k; nil where nothing is common.
	ripple [][]complex128
	square []float64 // |v|² over the takes, by point
}

// common tells whether the group's takes share a factor.
func (g *group) common() bool { return g.ripple != nil }

// groupTakes puts takes together.
func (j *joint) groupTakes() {
	like := func(a, b Take) bool {
		return !a.Ideal && !b.Ideal && a.Referenced == b.Referenced &&
			slices.Equal(a.Response.FrequencyHz, b.Response.FrequencyHz)
	}
	for i, t := range j.takes {
		at := slices.IndexFunc(j.groups, func(g group) bool { return like(j.takes[g.takes[0]], t) })
		if at < 0 {
			at = len(j.groups)
			j.groups = append(j.groups, group{})
		}
		g := &j.groups[at]
		g.takes = append(g.takes, i)
		var local []int
		for _, c := range j.columnsOf(i) {
			k := slices.Index(g.columns, c)
			if k < 0 {
				k = len(g.columns)
				g.columns = append(g.columns, c)
			}
			local = append(local, k)
		}
		g.local = append(g.local, local)
		g.runs = append(g.runs, leastsquares.Run{Residuals: 2 * len(j.omega[i]), Columns: len(g.columns)})
	}
}

// weigh sets the weights: of the noise as measured, of what the card leaves in
// single takes, ownDB its limit, and of blunt times what it leaves in common,
// for a search that starts far off.
func (j *joint) weigh(blunt float64) {
	j.weight = make([][]float64, len(j.takes))
	for n := range j.groups {
		g := &j.groups[n]
		g.ripple, g.square = nil, nil
		if len(g.takes) > 1 {
			g.square = make([]float64, len(j.omega[g.takes[0]]))
		}
		for _, i := range g.takes {
			t := j.takes[i]
			u := t.rippleU()
			extra := ripplePoints * u * u
			if len(g.takes) > 1 {
				extra = ownPoints * (square(neperU(j.ownDB)) + blunt*u*u)
			}
			s := math.Sqrt(ripplePoints/2) * j.commonU(t)
			weight, ripple := make([]float64, len(j.omega[i])), make([]complex128, len(j.omega[i]))
			for k, h := range t.Response.H {
				weight[k] = 1 / math.Sqrt((t.Response.Variance[k]+extra*(real(h)*real(h)+imag(h)*imag(h)))/2)
				if j.free {
					h = complex(cmplx.Abs(h), 0)
				}
				ripple[k] = h * complex(s*weight[k], 0)
				if len(g.takes) > 1 {
					g.square[k] += real(ripple[k])*real(ripple[k]) + imag(ripple[k])*imag(ripple[k])
				}
			}
			j.weight[i] = weight
			if len(g.takes) > 1 {
				g.ripple = append(g.ripple, ripple)
			}
		}
	}
}

// totalU is the standard uncertainty of each component of a take's point, of
// noise and card together.
func (j *joint) totalU(take, point int) float64 {
	u := 1 / j.weight[take][point]
	if g, i := j.groupOf(take); g.common() {
		t := j.takes[take]
		v := cmplx.Abs(g.ripple[i][point]) * t.rippleU() / j.commonU(t)
		u *= math.Sqrt(1 + v*v)
	}
	return u
}

// groupOf is the group of a take, and the take's place in it.
func (j *joint) groupOf(take int) (*group, int) {
	for n := range j.groups {
		if i := slices.Index(j.groups[n].takes, take); i >= 0 {
			return &j.groups[n], i
		}
	}
	panic("joint: a take without a group")
}

// evaluateGroup fills the rows of a group, those of one take after those of
// another: residuals of what the takes have in common yet.
func (s *state) evaluateGroup(g *group, x, r []float64, jacobian *mat.Dense) {
	rows := len(r) / len(g.takes)
	if jacobian != nil && len(g.takes) > 1 {
		jacobian.Zero()
	}
	for i, take := range g.takes {
		s.evaluate(take, x, r[i*rows:(i+1)*rows], jacobian, i*rows, g.local[i])
	}
	if j := s.j; j.free && g.common() {
		j.unwrap(g, func(i int) []float64 { return r[i*rows : (i+1)*rows] })
	}
}

// whitenInTurn whitens what evaluateGroup filled: of each take's rows it leaves what
// those of the takes before do not tell of the common factor, by the Cholesky factor of
// the covariance. So they depend on the columns of no later take, as runs says.
func (s *state) whitenInTurn(g *group, r []float64, jacobian *mat.Dense) {
	if !g.common() {
		return
	}
	rows := len(r) / len(g.takes)
	for k := range rows / 2 {
		if g.square[k] == 0 {
			continue
		}
		// What the takes before say, of the residuals and of the columns, and how well,
		// with what is known beforehand: that the factor is near 1.
		var along complex128
		clear(s.along)
		known := 1.0
		for i, v := range g.ripple {
			w, at := v[k], i*rows+2*k
			more := known + real(w)*real(w) + imag(w)*imag(w)
			keep := math.Sqrt(known / more)
			pull, back := w*complex(keep/known, 0), cmplx.Conj(w)
			known = more
			d := complex(r[at], r[at+1])
			to := complex(keep, 0)*d - pull*along
			r[at], r[at+1] = real(to), imag(to)
			along += back * d
			if jacobian == nil {
				continue
			}
			columns := g.runs[i].Columns
			re, im := jacobian.RawRowView(at)[:columns], jacobian.RawRowView(at + 1)[:columns]
			for c, a := range s.along[:columns] {
				x, y := re[c], im[c]
				of := pull * a
				re[c], im[c] = keep*x-real(of), keep*y-imag(of)
				s.along[c] = a + back*complex(x, y)
			}
		}
	}
}

// whiten whitens what evaluateGroup filled, all takes alike: residuals by which a fit
// is judged.
func (s *state) whiten(g *group, r []float64, jacobian *mat.Dense) {
	if !g.common() {
		return
	}
	rows := len(r) / len(g.takes)
	for k := range rows / 2 {
		// (1 + v vᴴ)^(-1/2) = 1 - m v vᴴ
		n2 := g.square[k]
		if n2 == 0 {
			continue
		}
		m := complex((1-1/math.Sqrt(1+n2))/n2, 0)
		var sum complex128
		for i, v := range g.ripple {
			at := i*rows + 2*k
			sum += cmplx.Conj(v[k]) * complex(r[at], r[at+1])
		}
		for i, v := range g.ripple {
			at := i*rows + 2*k
			d := m * v[k] * sum
			r[at] -= real(d)
			r[at+1] -= imag(d)
		}
		if jacobian == nil {
			continue
		}
		clear(s.along)
		for i, v := range g.ripple {
			re, im := jacobian.RawRowView(i*rows+2*k), jacobian.RawRowView(i*rows+2*k+1)
			w := cmplx.Conj(v[k])
			for _, c := range g.local[i] {
				s.along[c] += w * complex(re[c], im[c])
			}
		}
		for i, v := range g.ripple {
			re, im := jacobian.RawRowView(i*rows+2*k), jacobian.RawRowView(i*rows+2*k+1)
			w := m * v[k]
			for c := range g.columns {
				d := w * s.along[c]
				re[c] -= real(d)
				im[c] -= imag(d)
			}
		}
	}
}

// unwrap brings the phases of a group's logarithms, of which residuals are the rows
// of one take, to within half a turn of each other.
func (j *joint) unwrap(g *group, residuals func(i int) []float64) {
	for k := range g.square {
		first := math.NaN() // phase of the first take that counts at the point, in turns
		for i, t := range g.takes {
			r := residuals(i)
			s := math.Sqrt(ripplePoints/2) * j.commonU(j.takes[t]) * j.widen
			turn := 2 * math.Pi * real(g.ripple[i][k]) / s
			switch {
			case turn == 0:
			case math.IsNaN(first):
				first = r[2*k+1] / turn
			default:
				r[2*k+1] -= turn * math.Round(r[2*k+1]/turn-first)
			}
		}
	}
}

// differences is chi-square of how a group's takes differ: what whitened
// residuals r have along v says how the card was explained.
func (g *group) differences(r []float64) float64 {
	rows := len(r) / len(g.takes)
	var chi2 float64
	for k := range rows / 2 {
		var along complex128
		for i, v := range g.ripple {
			at := i*rows + 2*k
			chi2 += r[at]*r[at] + r[at+1]*r[at+1]
			along += cmplx.Conj(v[k]) * complex(r[at], r[at+1])
		}
		if g.square[k] == 0 {
			continue
		}
		chi2 -= (real(along)*real(along) + imag(along)*imag(along)) / g.square[k]
	}
	return chi2
}

// information is the covariance of the gradient Jᵀr of a solution from what the
// sound card leaves in the takes, in common and in each: between two covariances of
// the parameters it is their variance from that.
func (s *solution) information() *mat.SymDense {
	j, st := s.joint, newState(s.joint)
	out := mat.NewSymDense(j.n, nil)
	for n := range j.groups {
		g := &j.groups[n]
		points, k := len(j.omega[g.takes[0]]), len(g.columns)
		jacobian, r := mat.NewDense(2*points*len(g.takes), k, nil), make([]float64, 2*points*len(g.takes))
		st.evaluateGroup(g, s.x, r, jacobian)
		st.whiten(g, r, jacobian)
		sum := mat.NewSymDense(k, nil)
		add := func(part float64, row []float64) {
			if part > 1e-9 {
				sum.SymRankOne(sum, part, mat.NewVecDense(k, row))
			}
		}
		for point := range points {
			onRe, onIm := make([]float64, k), make([]float64, k) // what c does
			for i, take := range g.takes {
				at := 2 * (i*points + point)
				re, im := jacobian.RawRowView(at), jacobian.RawRowView(at+1)
				h, w := j.takes[take].Response, j.weight[take][point]
				own := 1 - h.Variance[point]*w*w/2 // of the variance that weighs
				add(own, re)
				add(own, im)
				if g.common() {
					v := g.ripple[i][point]
					floats.AddScaled(onRe, real(v), re)
					floats.AddScaled(onRe, imag(v), im)
					floats.AddScaled(onIm, -imag(v), re)
					floats.AddScaled(onIm, real(v), im)
				}
			}
			if g.common() {
				whitened := 1 / (1 + g.square[point]) // v has been shrunk by its root
				add(whitened, onRe)
				add(whitened, onIm)
			}
		}
		for a, row := range g.columns {
			for b, column := range g.columns[:a+1] {
				out.SetSym(row, column, out.At(row, column)+sum.At(a, b))
			}
		}
	}
	return out
}

// besideCoil is what a take's response has at the parameters x besides that of the
// coil with its load: gain, delay, sound card and drive, times scale.
func (j *joint) besideCoil(take int, x []float64, scale float64) []complex128 {
	gain, delay := math.Exp(x[j.gain(take)])*j.polarity[take]*scale, x[j.delay(take)]*1e-6
	fall := j.fall(take, x)
	var card cardResponse
	if !j.takes[take].Referenced {
		card = j.cardAt(x)
	}
	k := make([]complex128, len(j.omega[take]))
	for i, w := range j.omega[take] {
		k[i] = cmplx.Rect(gain, -w*delay)
		if !j.takes[take].Referenced {
			k[i] *= card.at(w)
		}
		k[i] *= complex(math.Exp(-fall*w*w), 0)
	}
	return k
}

// modelled is the response of a take at the parameters x.
func (j *joint) modelled(take int, x []float64) []complex128 {
	c, load := j.coilIn(take, x), j.loadOf(take, x).circuit()
	h := j.besideCoil(take, x, 1)
	for i, w := range j.omega[take] {
		h[i] *= c.Transfer(complex(0, w), load)
	}
	return h
}
