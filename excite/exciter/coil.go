package exciter

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
)

// Coil is a circular coil without a core: turns spread evenly over a
// rectangular cross-section.
type Coil struct {
	MeanRadiusM float64 // axis to the middle of the winding
	LengthM     float64 // of the winding along the axis
	DepthM      float64 // of the winding in radius
	Turns       int
	Wire        Wire // may be empty where only the field matters
}

// check refuses coils for which the formulas do not hold.
func (c Coil) check() error {
	r, l, d := c.MeanRadiusM, c.LengthM, c.DepthM
	switch {
	case !(min(r, l, d) > 0) || math.IsInf(max(r, l, d), 1):
		return fmt.Errorf("a coil needs a radius, a length and a depth above zero, not %g, %g, %g m", r, l, d)
	case c.Turns < 1:
		return fmt.Errorf("a coil needs at least one turn, not %d", c.Turns)
	case d > 2*r*(1+1e-12):
		return fmt.Errorf("the winding is %g m deep, more than its mean radius of %g m leaves room for", d, r)
	case c.outer() > thinnest*min(l, d):
		return fmt.Errorf("the winding is too thin against its radius to be worked out as a thick coil")
	}
	return nil
}

// thinnest is the largest ratio of radius to length or depth that InductanceH
// is made for.
const thinnest = 1000

func (c Coil) inner() float64 { return max(c.MeanRadiusM-c.DepthM/2, 0) }
func (c Coil) outer() float64 { return c.MeanRadiusM + c.DepthM/2 }

// WireM is the length of wire in m, without its ends.
func (c Coil) WireM() float64 { return 2 * math.Pi * c.MeanRadiusM * float64(c.Turns) }

// ResistanceOhm is the DC resistance in ohm at a temperature in °C.
func (c Coil) ResistanceOhm(celsius float64) float64 {
	return c.WireM() * c.Wire.OhmPerMetre(celsius)
}

const inch = 0.0254 // m

// WheelerH is the inductance by Wheeler's multilayer formula [7], lengths in
// inches, 0.8 a² n²/(6a + 9b + 10c) µH: within 1 % where the three terms are
// about equal; wrong by some per cent for flat or long coils.
func (c Coil) WheelerH() float64 {
	a, b, d, n := c.MeanRadiusM/inch, c.LengthM/inch, c.DepthM/inch, float64(c.Turns)
	return 0.8e-6 * a * a * n * n / (6*a + 9*b + 10*d)
}

// InductanceH is the inductance in H for a uniform current density, exact up
// to rounding and a truncation of about 1e-7: the mean of the mutual
// inductance of all pairs of circles in the cross-section, with
// M = pi mu0 r s integral of J1(kr) J1(ks) exp(-k|z|) dk (Maxwell's formula
// [4] in Bessel's functions), so that
//
//	L = 2 pi mu0 N² integral over k of (P(k)/(k b))² (kb - 1 + exp(-kb)) dk,
//	P(k) = 1/c integral of r J1(kr) dr over the depth.
//
// What the wire's roundness and enamel add is under 1 % for 50 turns or more.
// The error tells of a coil without dimensions.
func (c Coil) InductanceH() (float64, error) {
	if err := c.check(); err != nil {
		return 0, err
	}
	r1, r2, b := c.inner(), c.outer(), c.LengthM
	depth := r2 - r1
	top := 100 / min(b, depth)
	panels := int(math.Ceil(top * r2 / 2))
	inner, outer := besselMoment{}, besselMoment{}
	var nodes, weights [8]float64
	var sum float64
	for i := range panels {
		legendre(nodes[:], weights[:], top*float64(i)/float64(panels), top*float64(i+1)/float64(panels))
		for j, k := range nodes {
			p := (outer.to(k*r2) - inner.to(k*r1)) / (k * k * depth)
			kb := k * b
			sum += weights[j] * p * p / (kb * kb) * (kb + math.Expm1(-kb))
		}
	}
	// Beyond top: P² is on average (r1 + r2)/(pi c² k³).
	tail := (r1 + r2) / (math.Pi * depth * depth) * (1/(3*b*cube(top)) - 1/(4*b*b*cube(top)*top))
	n := float64(c.Turns)
	return 2 * math.Pi * Mu0 * n * n * (sum + tail), nil
}

func cube(x float64) float64 { return x * x * x }

// besselMoment is G(x) = integral from 0 to x of t J1(t) dt, for x that rises
// from call to call: G = -x J0(x) + integral of J0, and the integral goes on
// from where it was.
type besselMoment struct{ x, integral float64 }

func (g *besselMoment) to(x float64) float64 {
	for g.x < x {
		next := min(g.x+0.5, x)
		half, middle := (next-g.x)/2, (next+g.x)/2
		for i, at := range gauss5.x {
			g.integral += half * gauss5.w[i] * math.J0(middle+half*at)
		}
		g.x = next
	}
	return g.integral - x*math.J0(x)
}

// gauss5 is Gauss's rule of five points on -1 ... 1.
var gauss5 = func() (r struct{ x, w [5]float64 }) {
	quad.Legendre{}.FixedLocations(r.x[:], r.w[:], -1, 1)
	return r
}()

// legendre fills the nodes, ascending, and weights of Gauss's rule on a ... b.
func legendre(x, w []float64, a, b float64) {
	quad.Legendre{}.FixedLocations(x, w, a, b)
	if x[0] > x[len(x)-1] {
		slices.Reverse(x)
		slices.Reverse(w)
	}
}
