package check

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

const (
	// dullQ is the Q below which a coil's resonance is damped by its load and
	// not by itself (common practice: bare coils have 1.5 and more at 1 Mohm).
	dullQ = 1
	// lowInputOhm is the load from which on down an input is not made for
	// coils: hi-Z inputs have 0.5 Mohm and more (common practice).
	lowInputOhm = 100e3
	// usualC is the capacitance of coil and cable that the load is told by,
	// good to a factor of two (common practice).
	usualC = 200e-12
)

// peakHz is where the coil's channel is loudest, nil without a response: the
// drive's slope is put back.
func (s Scout) peakHz() *float64 {
	if s.Response == nil {
		return nil
	}
	best, at := 0.0, 0.0
	for i, hz := range s.Response.FrequencyHz {
		slope := hz
		if d := s.Take.Drive; d.Kind == "voltage" && d.ExciterR != nil && d.ExciterL != nil {
			slope /= math.Hypot(1, 2*math.Pi*hz*d.ExciterL.SI/d.ExciterR.SI)
		}
		if a := slope * cmplx.Abs(s.Response.H[i]); a > best {
			best, at = a, hz
		}
	}
	return &at
}

// judgeResponse looks at distortion and at the load on the coil.
func (r *Report) judgeResponse(s Scout) {
	if s.Response == nil {
		r.add(Stop, "no-response", "no response could be estimated from the sweep", "check the wiring")
		return
	}
	for n, ratios := range s.Response.Harmonic {
		h := harmonicOf(s.Response, ratios)
		h.Order = n + 2
		h.Expected = h.Ratio * math.Pow(10, s.rise()*float64(h.Order-1)/20)
		r.Harmonics = append(r.Harmonics, h)
		if h.Seen && h.Ratio > distortionLimit || h.Seen && h.Expected > distortionLimit {
			r.add(Warn, "distorted", fmt.Sprintf("harmonic %d is %.2g %% now and about %.2g %% at %.0f dBFS", h.Order, 100*h.Ratio, 100*h.Expected, r.PlannedDBFS),
				"lower the level at the amplifier, or the gain: exciter, amplifier or input are out of their linear range")
		}
	}
	if ohm, ok := inputOhm(s.Response, s.DCROhm); ok {
		r.InputOhm = &ohm
		r.add(Stop, "low-input-r", fmt.Sprintf("the coil has hardly a resonance: the input resistance seems to be about %s", quantity.Format(ohm, quantity.Ohm, 1)),
			"use the hi-Z (instrument) input, or a buffer; line and microphone inputs load a coil too much")
	}
}

// harmonicOf is the median ratio of a harmonic between 200 Hz and 2 kHz, and
// whether it stands out of the noise of the linear response there.
func harmonicOf(r *response.Response, ratios []float64) Harmonic {
	var seen, noise []float64
	for i, hz := range r.FrequencyHz {
		if hz >= 200 && hz <= 2000 && i < len(ratios) && !math.IsNaN(ratios[i]) {
			seen = append(seen, ratios[i])
			noise = append(noise, math.Sqrt(r.Variance[i])/cmplx.Abs(r.H[i]))
		}
	}
	if len(seen) == 0 {
		return Harmonic{}
	}
	ratio := median(seen)
	return Harmonic{Ratio: ratio, Seen: ratio > 10*median(noise)}
}

func median(x []float64) float64 {
	y := append([]float64(nil), x...)
	// Insertion is enough for some hundred points.
	for i := 1; i < len(y); i++ {
		for j := i; j > 0 && y[j] < y[j-1]; j-- {
			y[j], y[j-1] = y[j-1], y[j]
		}
	}
	return y[len(y)/2]
}

// inputOhm tells the load on the coil where it is far too little: ok is false
// where the coil resonates as coils do, or the shape tells nothing.
//
// With R and L in series, C and the load R_p across,
//
//	|v/e|^-2 = g (1 + (b1^2 - 2 b2) w^2 + b2^2 w^4),
//	b1 = (L/R_p + R C)/n,  b2 = L C/n,  n = 1 + R/R_p,
//
// which is a straight-line fit in w^2 and w^4. Two numbers do not give three
// elements: C is taken as usual, so that the load is right to a factor of about
// two, which is enough to tell a line input (10 kohm) from one for guitars.
func inputOhm(r *response.Response, dcrOhm float64) (ohm float64, ok bool) {
	const scale = 2 * math.Pi * 3000
	var normal mat.SymDense
	normal = *mat.NewSymDense(3, nil)
	right := mat.NewVecDense(3, nil)
	for i, hz := range r.FrequencyHz {
		a := cmplx.Abs(r.H[i])
		if hz < 100 || hz > 12000 || a*a < 9*r.Variance[i] {
			continue
		}
		y := 1 / (a * a)
		w2 := math.Pow(2*math.Pi*hz/scale, 2)
		row := [3]float64{1 / y, w2 / y, w2 * w2 / y} // relative errors count
		for j := range row {
			right.SetVec(j, right.AtVec(j)+row[j])
			for k := j; k < 3; k++ {
				normal.SetSym(j, k, normal.At(j, k)+row[j]*row[k])
			}
		}
	}
	var cholesky mat.Cholesky
	var x mat.VecDense
	if !cholesky.Factorize(&normal) || cholesky.SolveVecTo(&x, right) != nil {
		return 0, false
	}
	g, p, q := x.AtVec(0), x.AtVec(1), x.AtVec(2)
	if !(g > 0) {
		return 0, false
	}
	p, q = p/g/(scale*scale), q/g/math.Pow(scale, 4)
	b2 := math.Sqrt(math.Max(q, 0))
	b1 := math.Sqrt(math.Max(p+2*b2, 0))
	if b1 == 0 || math.Sqrt(b2)/b1 > dullQ {
		return 0, false
	}
	// L/R_p = n b1 - R C, L = n b2/C; n from R where that is known.
	ohm = math.Inf(1)
	for range 5 {
		n := 1 + dcrOhm/ohm
		if lOverR := n*b1 - dcrOhm*usualC; lOverR > 0 {
			ohm = n * b2 / usualC / lOverR
		}
	}
	return ohm, ohm > 0 && ohm < lowInputOhm
}
