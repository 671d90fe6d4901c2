package virtual

import (
	"math"

	"coilsweep/excite/quantity"
)

// Second is the other coil of a hum-cancelling pickup, and what is connected of the two. The
// fixture and the added parts are across what is connected.
type Second struct {
	Coil
	// Coupling of the two coils' inductances, -1 … 1: positive where currents into both hot
	// leads make fluxes that add.
	Coupling float64 `toml:"coupling"`
	// BetweenC is the capacitance between the windings, which lie side by side, hot lead by
	// hot lead; MetalC that of each winding to the metal, which is on ground.
	BetweenC quantity.Capacitance `toml:"between_c"`
	MetalC   quantity.Capacitance `toml:"metal_c"`
	// Field is the exciter's and the mains' EMF in it over that in the first coil.
	Field float64 `toml:"field"`
	// Connected is "first", "second", "series", "series-reversed", "parallel" or
	// "parallel-reversed": in series the first coil's cold lead is on the second's hot lead, in
	// parallel hot is on hot; reversed, the second's leads are swapped.
	Connected string `toml:"connected"`
	// Other is what the leads of the coil are that is not connected: "open", or "shorted" to
	// ground.
	Other string `toml:"other"`
}

// Connections are the values of Second.Connected.
var Connections = []string{"first", "second", "series", "series-reversed", "parallel", "parallel-reversed"}

// ends are the nodes of both coils.
func (s *Second) ends() (first, second ends) {
	other := ends{1, 2}
	if s.Other == "shorted" {
		other = ends{ground, ground}
	}
	switch s.Connected {
	case "second":
		return other, ends{0, ground}
	case "series":
		return ends{0, 1}, ends{1, ground}
	case "series-reversed":
		return ends{0, 1}, ends{ground, 1}
	case "parallel":
		return ends{0, ground}, ends{0, ground}
	case "parallel-reversed":
		return ends{0, ground}, ends{ground, 0}
	}
	return ends{0, ground}, other
}

// join puts the second coil into nw, whose first ring it is: the windings' own capacitances
// between their leads, and those that are spread along them. Of a capacitance that is spread
// evenly between two windings of evenly falling voltage a third acts between each two leads
// that are side by side, and a sixth between the others; to metal half from each lead.
func (s *Second) join(nw *network, firstOwn float64) {
	a, b := s.ends()
	nw.first, nw.second = &a, &b
	between, metal := s.BetweenC.SI, s.MetalC.SI/2
	nw.capacitors = []capacitorAt{
		{a.hot, a.cold, firstOwn}, {b.hot, b.cold, s.WindingC.SI},
		{a.hot, b.hot, between / 3}, {a.cold, b.cold, between / 3},
		{a.hot, b.cold, between / 6}, {a.cold, b.hot, between / 6},
		{a.hot, ground, metal}, {a.cold, ground, metal}, {b.hot, ground, metal}, {b.cold, ground, metal},
	}
}

func (s *Second) check(c *checker) {
	s.Coil.check("second.", c)
	if s.WindingLoss != 0 {
		c.fail("second.winding_loss", "is not simulated for a second coil")
	}
	if len(s.Mutual) > 0 {
		c.fail("second.mutual", "is not simulated for a second coil")
	}
	c.within("second.coupling", s.Coupling, -0.9999, 0.9999)
	c.part("second.between_c", s.BetweenC.Value, 0, 1e-6, true)
	c.part("second.metal_c", s.MetalC.Value, 1e-15, 1e-6, false)
	c.within("second.field", math.Abs(s.Field), 1e-6, 1e6)
	for key, of := range map[string]struct {
		value string
		want  []string
	}{"second.connected": {s.Connected, Connections}, "second.other": {s.Other, []string{"open", "shorted"}}} {
		known := false
		for _, w := range of.want {
			known = known || w == of.value
		}
		if !known {
			c.fail(key, "%q is not one of %q", of.value, of.want)
		}
	}
}
