package winding

import (
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Check is a coil checked against its winding.
type Check struct {
	Celsius  float64 // temperature for which all is worked out
	Measured fit.Quantity
	From     string       // where the measured resistance comes from
	Expected fit.Quantity // resistance; unknown where the turns were not counted
	En       *float64
	Turns    fit.Quantity // that the measured resistance stands for
	// AirH is the inductance of the winding without pole pieces and magnets, NaN
	// where unknown; Factor is that of the coil over it.
	AirH   float64
	Factor float64
	// Suspicions name disagreements and their likely causes.
	Suspicions []string
	Remarks    []string
}

const (
	// unstatedCelsius is assumed where no temperature is stated.
	unstatedCelsius = 20
	// leastFactor and mostFactor bound the factor by which pole pieces and
	// magnets raise the winding's inductance (common practice: 1 to 3; that
	// without them is known to some 20 %).
	leastFactor, mostFactor = 0.8, 4
	// suspectShare is the share of L beyond which a loss is hardly that of pole
	// pieces or a baseplate (common practice: they take less than a third).
	suspectShare = 0.45
)

// CheckCoil checks the readings and the result of a coil against its winding.
// result may be nil: the resistance alone is checked then.
func CheckCoil(p Plan, coil capture.Coil, result *fit.Result) (Check, error) {
	c := Check{Expected: fit.Unknown("the turns are not stated"), AirH: math.NaN(),
		Factor: math.NaN(), Turns: fit.Unknown("no resistance is known")}
	var stated bool
	if c.Celsius, stated = Celsius(coil); !stated {
		c.Remarks = append(c.Remarks, fmt.Sprintf(
			"no temperature is stated: %d °C is assumed; copper gains 0.39 %% per degree", unstatedCelsius))
	}
	c.resistance(coil, result)
	if p.Turns > 0 {
		c.Expected = p.Resistance(p.Turns, c.Celsius)
	}
	if c.Measured.Known() {
		c.Turns = p.TurnsOf(c.Measured.Value, c.Measured.U, c.Celsius)
	}
	if c.Measured.Known() && c.Expected.Known() {
		en := fit.En(c.Measured.Value, c.Measured.U95, c.Expected.Value, c.Expected.U95)
		c.En = &en
		off := 100 * (c.Measured.Value/c.Expected.Value - 1)
		switch {
		case en < -1:
			c.suspect("the resistance is %.0f %% below that of %d turns of this wire: fewer turns, a thicker wire, "+
				"or a bridged part of the winding", -off, p.Turns)
		case en > 1:
			c.suspect("the resistance is %.0f %% above that of %d turns of this wire: more turns, a thinner wire, or "+
				"a bad solder joint", off, p.Turns)
		}
	}
	if result != nil {
		c.inductance(p, *result)
		c.losses(*result)
	}
	return c, nil
}

// Celsius is the temperature of a coil during its takes in °C: as stated, that of its DC
// resistance, or else 20 °C.
func Celsius(coil capture.Coil) (celsius float64, stated bool) {
	switch {
	case coil.CelsiusAtTakes != nil:
		return *coil.CelsiusAtTakes, true
	case coil.DCR != nil && coil.DCR.Celsius != nil:
		return *coil.DCR.Celsius, true
	}
	return unstatedCelsius, false
}

func (c *Check) suspect(format string, args ...any) {
	c.Suspicions = append(c.Suspicions, fmt.Sprintf(format, args...))
}

// resistance takes the reading, carried to the temperature, or else the fit's.
func (c *Check) resistance(coil capture.Coil, result *fit.Result) {
	c.Measured = fit.Unknown("there is neither a DC resistance nor a result")
	switch {
	case coil.DCR != nil:
		factor := 1.0
		if coil.DCR.Celsius != nil {
			factor = exciter.CopperFactor(*coil.DCR.Celsius, c.Celsius)
		}
		c.Measured, c.From = fit.Quantity{Value: coil.DCR.SI * factor, U: coil.DCR.U() * factor,
			U95: coil.DCR.U95() * factor}, "meter, "+coil.DCR.String()
	case result != nil && result.Resistance.Known():
		c.Measured, c.From = result.Resistance, "fit"
	}
}

// inductance checks L against that of the winding without pole pieces and magnets.
func (c *Check) inductance(p Plan, r fit.Result) {
	turns := p.Turns
	if turns == 0 && c.Turns.Known() {
		turns = int(math.Round(c.Turns.Value))
	}
	if turns < 1 || !r.Inductance.Known() {
		return
	}
	air, err := p.AirInductance(turns)
	if err != nil {
		c.Remarks = append(c.Remarks, "the inductance cannot be checked against the winding: "+err.Error())
		return
	}
	c.AirH, c.Factor = air, r.Inductance.Value/air
	switch l := r.Inductance; {
	case (l.Value+l.U95)/air < leastFactor:
		c.suspect("L is %s, only %.2g times that of %d turns without pole pieces and magnets: fewer turns, or many "+
			"shorted turns", quantity.Format(l.Value, quantity.Henry, 3), c.Factor, turns)
	case (l.Value-l.U95)/air > mostFactor:
		c.suspect("L is %s, %.2g times that of %d turns without pole pieces and magnets: more turns than stated, or "+
			"another core", quantity.Format(l.Value, quantity.Henry, 3), c.Factor, turns)
	}
}

// losses looks for a loop that is too tightly coupled to be pole pieces.
func (c *Check) losses(r fit.Result) {
	if !r.Inductance.Known() || !c.Measured.Known() {
		return
	}
	for _, e := range r.Eddy {
		if !e.Share.Known() || !e.Corner.Known() || e.Share.Value-e.Share.U95 < suspectShare {
			continue
		}
		part := PartOfRing(r.Inductance.Value, c.Measured.Value, e.Corner.Value)
		c.suspect("a loss takes %.0f %% of L above %s, more than pole pieces or a baseplate do: if these are shorted "+
			"turns, they are about %.2g %% of all",
			100*e.Share.Value, quantity.Format(e.Corner.Value, quantity.Hertz, 3), 100*part)
	}
}
