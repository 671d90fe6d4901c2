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
	// not by itself (common practice: coils alone have 1.5 and more at 1 Mohm).
	dullQ = 1
	// lowInputOhm is the load from which on down an input is not made for
	// coils: hi-Z inputs have 0.5 Mohm and more (common practice).
	lowInputOhm = 100e3
	// usualL and usualC are the inductance of coils in H, and their capacitance
	// with a cable in F, that the load is told by; usualTimeS is their
	// inductance over their resistance. All are good to a factor of two (common
	// practice).
	usualL     = 2.5
	usualC     = 200e-12
	usualTimeS = 4e-4
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

// judgeResponse judges distortion and at the load on the coil.
func (r *Report) judgeResponse(s Scout) {
	if s.Response == nil {
		r.add(Stop, "no-response", "no response could be estimated from the sweep", "check the wiring")
		return
	}
	loud, rise := s.AtLevel, 0.0
	if loud == nil {
		loud, rise = s.Response, s.rise()
	}
	for n := range loud.Harmonic {
		h := Harmonic{Order: n + 2}
		h.Ratio, h.Seen = loud.HarmonicRatio(h.Order)
		h.Expected = h.Ratio * math.Pow(10, rise*float64(n+1)/20)
		r.Harmonics = append(r.Harmonics, h)
		if h.Seen && h.Expected > response.DistortionLimit {
			r.add(Warn, "distorted", fmt.Sprintf("harmonic %d is about %.2g %% at %.0f dBFS", h.Order, 100*h.Expected,
				r.PlannedDBFS),
				"lower the level, or the gain of the amplifier: exciter, amplifier or input are out of their linear "+
					"range")
		}
	}
	if ohm, ok := inputOhm(s.Response, s.DCROhm); ok {
		r.InputOhm = &ohm
		r.add(Stop, "low-input-r", fmt.Sprintf(
			"the coil has hardly a resonance: the input resistance seems to be about %s",
			quantity.Format(ohm, quantity.Ohm, 1)),
			"use the hi-Z (instrument) input, or a buffer; line and microphone inputs load a coil too much")
	}
}

// inputOhm tells the load on the coil where it is far too little: ok is false
// where the coil resonates as coils do, or the shape tells nothing.
//
// With R and L in series, C and the load R_p across,
//
//	|v/e|^-2 = g (1 + (b1^2 - 2 b2) w^2 + b2^2 w^4),
//	b1 = (L/R_p + R C)/n,  b2 = L C/n,  n = 1 + R/R_p,
//
// which is a straight-line fit in w^2 and w^4. A coil without resonance shows
// b1 only, R_p = (L - R b1)/(b1 - R C), and one number does not give two
// elements: L is taken as usual, so that the load is right to a factor of about
// two (of four where it is below R), which is enough to tell a line input
// (10 kohm) from one for guitars.
func inputOhm(r *response.Response, dcrOhm float64) (ohm float64, ok bool) {
	p, q, ok := shape(r, 3)
	if ok && q < 0 {
		p, q, ok = shape(r, 2)
	}
	if !ok {
		return 0, false
	}
	b2 := math.Sqrt(q)
	b1 := math.Sqrt(math.Max(p+2*b2, 0))
	if b1 == 0 || math.Sqrt(b2)/b1 > dullQ {
		return 0, false
	}
	henry := usualL
	if dcrOhm > 0 {
		henry = usualTimeS * dcrOhm
	}
	ohm = math.Max(henry-dcrOhm*b1, 0.05*henry) / math.Max(b1-dcrOhm*usualC, 0.1*b1)
	return ohm, ohm < lowInputOhm
}

// shape fits |H|^-2 = g (1 + p w^2 + q w^4), relative errors counting alike;
// terms 2 leaves q out.
func shape(r *response.Response, terms int) (p, q float64, ok bool) {
	const scale = 2 * math.Pi * 3000
	normal := mat.NewSymDense(terms, nil)
	right := mat.NewVecDense(terms, nil)
	for i, hz := range r.FrequencyHz {
		a := cmplx.Abs(r.H[i])
		if hz < 100 || hz > 10000 || a*a < 9*r.Variance[i] {
			continue
		}
		w2 := math.Pow(2*math.Pi*hz/scale, 2)
		row := [3]float64{a * a, w2 * a * a, w2 * w2 * a * a}
		for j := range terms {
			right.SetVec(j, right.AtVec(j)+row[j])
			for k := j; k < terms; k++ {
				normal.SetSym(j, k, normal.At(j, k)+row[j]*row[k])
			}
		}
	}
	var cholesky mat.Cholesky
	var x mat.VecDense
	if !cholesky.Factorize(normal) || cholesky.SolveVecTo(&x, right) != nil || !(x.AtVec(0) > 0) {
		return 0, 0, false
	}
	p = x.AtVec(1) / x.AtVec(0) / (scale * scale)
	if terms == 3 {
		q = x.AtVec(2) / x.AtVec(0) / math.Pow(scale, 4)
	}
	return p, q, true
}
