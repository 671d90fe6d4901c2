package joint

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"

	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

// element is a shorted ring as circuit elements: its own inductance and
// resistance and its mutual inductance with the coil.
type element struct{ henry, ohm, mutual float64 }

// trueCoil is a coil as circuit elements, for responses that owe nothing to
// the formulas of the fit: the meshes are solved as they are.
type trueCoil struct {
	henry, ohm, farad float64
	loss              float64 // dissipation factor of farad
	rings             []element
	coverHz           float64 // corner of the shielding; 0: no cover
}

// ring makes elements from the share of L that the ring shields and its
// corner; the scale of the ring itself is arbitrary.
func (c *trueCoil) ring(share, cornerHz float64) {
	const henry = 1e-6
	c.rings = append(c.rings, element{henry, 2 * math.Pi * cornerHz * henry, math.Sqrt(share * c.henry * henry)})
}

// voltage is that across the load per volt of EMF.
func (c trueCoil) voltage(hz, loadOhm, loadFarad float64) complex128 {
	s := complex(0, 2*math.Pi*hz)
	return c.voltageAcross(s, complex(1/loadOhm, 0)+s*complex(loadFarad, 0))
}

// voltageAcross is that across a load of the admittance y at s, by elimination of
// the ring meshes: M s i1 + (R_k + s L_k) i_k = 0.
func (c trueCoil) voltageAcross(s, y complex128) complex128 {
	z := complex(c.ohm, 0) + s*complex(c.henry, 0)
	for _, r := range c.rings {
		m := s * complex(r.mutual, 0)
		z -= m * m / (complex(r.ohm, 0) + s*complex(r.henry, 0))
	}
	across := 1 / (y + lossyCapacitor(s, c.farad, c.loss))
	v := across / (across + z)
	if c.coverHz > 0 {
		v /= 1 + s/complex(2*math.Pi*c.coverHz, 0)
	}
	return v
}

// lossyCapacitor is the admittance at s of one with the dissipation factor d: a
// capacitor, and beside it one with a resistor in series for every third of a
// decade from 0.1 Hz to 100 MHz. At 1 kHz it has farad.
func lossyCapacitor(s complex128, farad, d float64) complex128 {
	if d == 0 {
		return s * complex(farad, 0)
	}
	const perDecade, decades = 3, 9
	part := farad * d * 2 / math.Pi * math.Ln10 / perDecade
	y := func(s complex128) complex128 {
		var sum complex128
		for k := range perDecade*decades + 1 {
			tau := math.Pow(10, float64(k)/perDecade) / (2 * math.Pi * 1e8)
			sum += s * complex(part, 0) / (1 + s*complex(tau, 0))
		}
		return sum
	}
	w := 2 * math.Pi * 1000
	return y(s) + s*complex(farad-imag(y(complex(0, w)))/w, 0)
}

// load is one take of a simulated bench: the stated load of the coil and the true
// one.
type load struct {
	addedC, addedR       string
	trueC, trueR         float64 // of the added part; 0: as stated
	fixtureC, fixtureR   string
	trueFixC, trueFixR   float64
	gain, delayS, corner float64
}

// bench simulates takes at the level of the response: the default grid, white
// noise at the recorder.
type bench struct {
	coil  trueCoil
	snrDB float64 // plateau over the noise of one point at 1 kHz
	seed  uint64
	// clock is the relative error of the recorder's clock: what it calls f is
	// f (1 + clock).
	clock float64
	// referenced: a reference channel takes the sound card out.
	referenced bool
	// rippled: what is left of the sound card ripples, the same in all takes;
	// else the takes are those of an ideal card.
	rippled bool
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// grid is the grid of a default take: 80 points an octave, no closer than
// 1.6 Hz.
func grid() []float64 {
	var f []float64
	for hz := 21.0; hz < 19900; {
		f = append(f, hz)
		hz += max(6, hz*(math.Exp2(1.0/20)-1))
	}
	return f
}

func (b bench) take(name string, l load) Take {
	random := rand.New(rand.NewPCG(b.seed, uint64(len(name))+hash(name)))
	t := Take{Name: name, Referenced: b.referenced, Ideal: !b.rippled,
		Response: &response.Response{FrequencyHz: grid(), VarianceDoF: 100, SNRdB: b.snrDB}}
	value := func(text string, true float64, parse func(string) (quantity.Value, error)) (quantity.Value, float64) {
		v := must(parse(text))
		if true == 0 {
			true = v.SI
		}
		return v, true
	}
	var totalC float64
	var conductance float64
	if l.addedC != "" {
		v, c := value(l.addedC, l.trueC,
			func(s string) (quantity.Value, error) { return quantity.Parse(s, quantity.Farad) })
		t.Load.AddedC = &quantity.Capacitance{Value: v}
		totalC += c
	}
	if l.fixtureC != "" {
		v, c := value(l.fixtureC, l.trueFixC,
			func(s string) (quantity.Value, error) { return quantity.Parse(s, quantity.Farad) })
		t.Load.FixtureC = &quantity.Capacitance{Value: v}
		totalC += c
	}
	if l.addedR != "" {
		v, r := value(l.addedR, l.trueR,
			func(s string) (quantity.Value, error) { return quantity.Parse(s, quantity.Ohm) })
		t.Load.AddedR = &quantity.Resistance{Value: v}
		conductance += 1 / r
	}
	v, r := value(l.fixtureR, l.trueFixR,
		func(s string) (quantity.Value, error) { return quantity.Parse(s, quantity.Ohm) })
	t.Load.FixtureR = &quantity.Resistance{Value: v}
	conductance += 1 / r
	gain := l.gain
	if gain == 0 {
		gain = 0.3
	}
	corner := l.corner
	if corner == 0 {
		corner = 1
	}
	// Sines and cosines of 1 … 20 periods over the band with independent
	// weights make a ripple of the same size everywhere.
	var ripple [40]float64
	if b.rippled {
		card := rand.New(rand.NewPCG(b.seed, 999))
		for k := range ripple {
			ripple[k] = t.rippleU() / math.Sqrt(20) * card.NormFloat64()
		}
	}
	noise := math.Abs(gain) * math.Pow(10, -b.snrDB/20)
	for _, hz := range t.Response.FrequencyHz {
		h := b.coil.voltage(hz*(1+b.clock), 1/conductance, totalC)
		h *= complex(gain, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*l.delayS))
		if !b.referenced {
			hp := complex(0, hz) / complex(corner, hz)
			h *= hp * hp
		}
		var neper float64
		for k := range 20 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k+1) * hz / 20000)
			neper += ripple[2*k]*sin + ripple[2*k+1]*cos
		}
		h *= complex(math.Exp(neper), 0)
		// A log sweep puts less energy a hertz at the top, the s-slope more
		// signal; a point gathers lines in proportion to its width.
		u := noise * math.Sqrt(1000/hz)
		h += complex(u*random.NormFloat64()/math.Sqrt2, u*random.NormFloat64()/math.Sqrt2)
		t.Response.H = append(t.Response.H, h)
		t.Response.Variance = append(t.Response.Variance, u*u)
	}
	return t
}

func hash(s string) uint64 {
	h := uint64(14695981039346656037)
	for _, c := range []byte(s) {
		h = (h ^ uint64(c)) * 1099511628211
	}
	return h
}

func (b bench) takes(loads ...load) []Take {
	var takes []Take
	for i, l := range loads {
		takes = append(takes, b.take(fmt.Sprintf("take%d", i+1), l))
	}
	return takes
}

func demoCoil() trueCoil {
	c := trueCoil{henry: 2.4, ohm: 7850, farad: 110e-12}
	c.ring(0.10, 2500)
	c.ring(0.05, 15000)
	return c
}
