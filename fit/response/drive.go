package response

import (
	"errors"
	"fmt"
	"math"

	"coilsweep/capture"
)

// slopeReferenceHz is where the slope of the drive is taken as 1.
const slopeReferenceHz = 1000

// driveSlope gives the factor by which the induced EMF exceeds what was
// deconvolved by (the stimulus's or the reference's voltage, or the exciter's
// current), over that at 1 kHz for an ideal current: the response is divided
// by it.
//
//	current: e ~ s i           slope = s/s1,   s1 = 2 pi 1 kHz
//	voltage: i = v/(R + s L)   slope = s/s1 · R/(R + s L)
//	direct:  no exciter, the output is wired to the input   slope = 1
//
// With a current reference the voltage over the sense resistor R_s is i R_s,
// so the slope is s/(s1 R_s).
func driveSlope(drive capture.Drive, reference capture.Reference) (func(hz float64) complex128, error) {
	ideal := func(hz float64) complex128 { return complex(0, hz/slopeReferenceHz) }
	if reference.Kind == "current" {
		sense := complex(1, 0)
		if reference.SenseR != nil {
			if !(reference.SenseR.SI > 0) {
				return nil, fmt.Errorf("the sense resistor is %g ohm: state a value above zero", reference.SenseR.SI)
			}
			sense = complex(reference.SenseR.SI, 0)
		}
		return func(hz float64) complex128 { return ideal(hz) / sense }, nil
	}
	switch drive.Kind {
	case "direct":
		return func(float64) complex128 { return 1 }, nil
	case "current", "":
		return ideal, nil
	case "voltage":
		if drive.ExciterR == nil || !(drive.ExciterR.SI > 0) {
			return nil, errors.New("a voltage-driven exciter needs the resistance of its circuit, above zero")
		}
		r, l := drive.ExciterR.SI, 0.0
		if drive.ExciterL != nil {
			l = drive.ExciterL.SI
		}
		return func(hz float64) complex128 {
			return ideal(hz) / complex(1, 2*math.Pi*hz*l/r)
		}, nil
	}
	return nil, fmt.Errorf("drive %q is not known: give current or voltage", drive.Kind)
}
