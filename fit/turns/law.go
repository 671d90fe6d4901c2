package turns

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// The properties of a coil that the laws carry from one winding to the next.
const (
	ofL = iota
	ofR
	ofC
	properties
)

// term is one way in which a property may depart from its law: the logarithm of
// the property gains times x of the coil, times a deviation about 0 with the
// standard uncertainty u.
type term struct {
	name  string  // what x is the logarithm of; "" where it is no exponent
	power float64 // the exponent that the law has for it
	u     float64
}

// How well the laws are known before a second coil is measured. No source states
// these: they are judged from the formulas named beside them.
const (
	// turnsLimit bounds the exponent of the turns about 2 for L and 1 for R at equal
	// geometry, where both are exact for the same metal (typical value, no source).
	turnsLimit = 0.1
	// shapePower is the exponent to which L follows the handbook inductance of the
	// winding's shape: between 0, where all flux is led by the pole pieces, and 1
	// without any; its limit goes as far again.
	shapePower, shapeLimit = 0.5, 1
	// Those of C lie between the layer formula of package exciter, by which C goes as the
	// inverse of the turns and of the square of the wire, and 0: C as measured. The limits
	// go as far again.
	turnsPowerC, turnsLimitC = -0.5, 1
	wirePowerC, wireLimitC   = -1, 2
	// Scatter of coils that are wound alike, as limits (typical values, no source). That
	// of C is by the layer formula what a pitch does that differs by 7 %.
	scatterL, scatterR, scatterC = 0.01, 0.01, 0.15
	// flat is no knowledge at all, for a logarithm.
	flat = 10
)

var root3 = math.Sqrt(3)

// terms are those of each property; the first is a common factor.
var terms = [properties][]term{
	ofL: {{u: flat}, {"turns", 2, turnsLimit / root3}, {"shape", shapePower, shapeLimit / root3}},
	ofR: {{u: 0.05 / root3}, {"turns", 1, turnsLimit / root3}},
	ofC: {{u: flat}, {"turns", turnsPowerC, turnsLimitC / root3},
		{"wire diameter", wirePowerC, wireLimitC / root3}},
}

var scatter = [properties]float64{ofL: scatterL / root3, ofR: scatterR / root3, ofC: scatterC / root3}

// sample is a coil as a law sees it, for one property.
type sample struct {
	value float64   // logarithm of the property; NaN for the coil to come
	law   float64   // logarithm of what the law has for it, up to a common factor
	x     []float64 // by term
	reel  string    // of the wire; a factor of its own for R
	u     float64   // of value, from the coil's fit
}

// kriged are the weights of the measured coils in the best linear prediction of
// another one, and the factor by which the terms depart more than was thought.
type kriged struct {
	weights []float64
	widen   float64
}

// covariance of two coils by their terms, without what is each one's own.
func covariance(of int, a, b sample) float64 {
	sum := 0.0
	for k, t := range terms[of] {
		sum += t.u * t.u * a.x[k] * b.x[k]
	}
	if of == ofR && a.reel == b.reel {
		sum += uReel * uReel
	}
	return sum
}

// system is the inverse of the covariance of the measured coils, each with the
// scatter of winding and its own uncertainty.
func system(of int, coils []sample) *mat.Dense {
	n := len(coils)
	v := mat.NewDense(n, n, nil)
	for i, a := range coils {
		for j, b := range coils {
			v.Set(i, j, covariance(of, a, b))
		}
		v.Set(i, i, v.At(i, i)+scatter[of]*scatter[of]+a.u*a.u)
	}
	var inverse mat.Dense
	if err := inverse.Inverse(v); err != nil {
		return nil
	}
	return &inverse
}

// unknownFactor tells whether nothing is known of the property's common factor.
func unknownFactor(of int) bool { return terms[of][0].u == flat }

// krige is the best linear prediction of a coil from others (generalised least
// squares with what is known of the terms; JCGM 100 has the propagation).
func krige(of int, coils []sample, next sample) kriged {
	k := kriged{weights: make([]float64, len(coils)), widen: 1}
	k.weights[0] = 1
	inverse := system(of, coils)
	if inverse == nil {
		return k
	}
	c := mat.NewVecDense(len(coils), nil)
	for i, a := range coils {
		c.SetVec(i, covariance(of, a, next))
	}
	var w mat.VecDense
	w.MulVec(inverse, c)
	sum := 0.0
	for i := range k.weights {
		k.weights[i] = w.AtVec(i)
		sum += w.AtVec(i)
	}
	if unknownFactor(of) { // exactly, not up to 1/flat²
		k.weights[0] += 1 - sum
	}
	k.widen = widening(of, coils, inverse)
	return k
}

// residuals of the coils from the law, against the first where its factor is not known.
func residuals(of int, coils []sample) *mat.VecDense {
	r := mat.NewVecDense(len(coils), nil)
	for i, a := range coils {
		r.SetVec(i, a.value-a.law)
	}
	if unknownFactor(of) {
		first := r.AtVec(0)
		for i := range coils {
			r.SetVec(i, r.AtVec(i)-first)
		}
	}
	return r
}

// widening is how much further the coils lie from the law than the terms allow, as a
// factor of all uncertainties (Birge's ratio); 1 where they do not.
func widening(of int, coils []sample, inverse *mat.Dense) float64 {
	dof := len(coils)
	if unknownFactor(of) {
		dof--
	}
	if dof < 1 {
		return 1
	}
	r := residuals(of, coils)
	return math.Max(1, math.Sqrt(mat.Inner(r, inverse, r)/float64(dof)))
}

// Law is one exponent by which a property follows another quantity.
type Law struct {
	Of      string       `json:"of"`   // "L", "R" or "C"
	With    string       `json:"with"` // "turns", "shape", "wire diameter"
	Assumed fit.Quantity `json:"assumed"`
	// Fitted has what the measured coils add; unknown where they tell nothing.
	Fitted fit.Quantity `json:"fitted"`
}

// toldShare is the part of its uncertainty that an exponent must lose by the coils to
// count as fitted.
const toldShare = 0.05

// fittedLaws are the exponents with what the coils tell of them.
func fittedLaws(of int, coils []sample) []Law {
	var laws []Law
	inverse := system(of, coils)
	for k, t := range terms[of] {
		if t.name == "" {
			continue
		}
		l := Law{Of: [...]string{"L", "R", "C"}[of], With: t.name, Assumed: quantityOf(t.power, t.u),
			Fitted: fit.Unknown("the measured coils do not differ enough to tell it")}
		if len(coils) == 1 {
			l.Fitted.Why = "one coil alone cannot tell it"
		} else if inverse != nil {
			x := mat.NewVecDense(len(coils), nil)
			for i, a := range coils {
				x.SetVec(i, t.u*t.u*a.x[k])
			}
			var y mat.VecDense
			y.MulVec(inverse, x)
			u := math.Sqrt(math.Max(0, t.u*t.u-mat.Dot(x, &y))) * widening(of, coils, inverse)
			if u < (1-toldShare)*t.u {
				l.Fitted = quantityOf(t.power+mat.Dot(residuals(of, coils), &y), u)
			}
		}
		laws = append(laws, l)
	}
	return laws
}

func quantityOf(value, u float64) fit.Quantity {
	return fit.Quantity{Value: value, U: u, U95: quantity.Coverage95 * u}
}
