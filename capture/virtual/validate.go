package virtual

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
)

// FieldError is a value of a bench that cannot be.
type FieldError struct {
	File string // "" where the bench was not read from a file
	Line int    // 0 where it is not known
	Key  string // "coil.ring[1].coupling"
	Text string // what is wrong and what to do
}

func (e *FieldError) Error() string {
	place := ""
	switch {
	case e.File != "" && e.Line > 0:
		place = fmt.Sprintf("%s:%d: ", e.File, e.Line)
	case e.File != "":
		place = e.File + ": "
	}
	return fmt.Sprintf("%s%s: %s", place, e.Key, e.Text)
}

// checker collects the first error.
type checker struct{ err *FieldError }

func (c *checker) fail(key, format string, args ...any) {
	if c.err == nil {
		c.err = &FieldError{Key: key, Text: fmt.Sprintf(format, args...)}
	}
}

// within wants low <= x <= high.
func (c *checker) within(key string, x, low, high float64) {
	if !(low <= x && x <= high) { // also NaN
		c.fail(key, "%v is outside %v … %v", x, low, high)
	}
}

// part wants a value of low … high, or none where optional.
func (c *checker) part(key string, v quantity.Value, low, high float64, optional bool) {
	if v.SI == 0 && v.Text == "" {
		if !optional {
			c.fail(key, "is missing; give a value such as %q", exampleOf(v.Unit, key))
		}
		return
	}
	if !(low <= v.SI && v.SI <= high) {
		c.fail(key, "%q is outside %v … %v %s", v.Text, low, high, v.Unit)
	}
}

func exampleOf(unit quantity.Unit, key string) string {
	switch {
	case unit == quantity.Farad, strings.HasSuffix(key, "_c"), strings.HasSuffix(key, "capacitance"):
		return "110p"
	case unit == quantity.Henry, strings.HasSuffix(key, "inductance"), strings.HasSuffix(key, "mutual"):
		return "2.4H"
	}
	return "1k"
}

// check finds the first value that cannot be.
func (b Bench) check() error {
	c := &checker{}
	if b.Schema != "" && b.Schema != Schema {
		c.fail("schema", "%q is not known here; this program reads %q", b.Schema, Schema)
	}
	b.checkCoil(c)
	b.checkExciter(c)
	b.checkCard(c)
	b.checkDisturbances(c)
	if c.err != nil {
		return c.err
	}
	return nil
}

func (b Bench) checkCoil(c *checker) {
	const minR, maxR = 1e-9, 1e12
	b.Coil.check("coil.", c)
	c.within("added.c_loss", b.Added.CLoss, 0, mostLoss)
	if b.Second != nil {
		b.Second.check(c)
		if b.Cover != nil || b.Coil.WindingLoss != 0 {
			c.fail("second", "with a second coil neither a cover nor winding_loss is simulated")
		}
	}
	if k := b.Cover; k != nil {
		c.part("cover.inductance", k.Inductance.Value, 1e-12, 1e4, false)
		c.part("cover.resistance", k.Resistance.Value, minR, maxR, false)
		c.within("cover.coupling", k.Coupling, 1e-4, 0.9999)
		c.within("cover.shielding", k.Shielding, 0, 1)
	}
	c.part("fixture.capacitance", b.Fixture.Capacitance.Value, 0, 1e-3, true)
	c.part("fixture.resistance", b.Fixture.Resistance.Value, 1e-3, maxR, true)
	if e := b.Added.CError; e != nil {
		c.within("added.true_added_c_error", *e, -0.9, 9)
	}
	if e := b.Added.RError; e != nil {
		c.within("added.true_added_r_error", *e, -0.9, 9)
	}
}

// mostLoss is the largest dissipation factor: more is no capacitor.
const mostLoss = 0.1

func (coil Coil) check(of string, c *checker) {
	const minR, maxR = 1e-9, 1e12
	c.part(of+"inductance", coil.Inductance.Value, 1e-9, 1e4, false)
	c.part(of+"resistance", coil.Resistance.Value, 1e-6, 1e9, false)
	if t := coil.Resistance.Celsius; t != nil {
		c.within(of+"resistance (temperature)", *t, -60, 200)
	}
	c.part(of+"winding_c", coil.WindingC.Value, 1e-15, 1e-3, false)
	c.within(of+"winding_loss", coil.WindingLoss, 0, mostLoss)
	names := map[string]bool{}
	for i, r := range coil.Rings {
		key := fmt.Sprintf("%sring[%d].", of, i)
		c.part(key+"inductance", r.Inductance.Value, 1e-12, 1e4, false)
		c.part(key+"resistance", r.Resistance.Value, minR, maxR, false)
		c.within(key+"coupling", r.Coupling, -0.9999, 0.9999)
		if r.Name != "" && names[r.Name] {
			c.fail(key+"name", "%q names two rings; give each its own name", r.Name)
		}
		names[r.Name] = true
	}
	if len(coil.Rings) > 16 {
		c.fail(of+"ring", "%d rings; at most 16 are simulated", len(coil.Rings))
	}
	for i, m := range coil.Mutual {
		key := fmt.Sprintf("%smutual[%d].", of, i)
		if len(m.Between) != 2 || m.Between[0] == m.Between[1] {
			c.fail(key+"between", "wants the names of two rings")
		}
		for _, name := range m.Between {
			if name == "" || !names[name] {
				c.fail(key+"between", "there is no ring named %q", name)
			}
		}
		c.within(key+"coupling", m.Coupling, -0.9999, 0.9999)
	}
}

func (b Bench) checkExciter(c *checker) {
	e := b.Exciter
	switch e.Drive {
	case "voltage":
		c.part("exciter.inductance", e.Inductance.Value, 1e-9, 1e2, false)
		c.part("exciter.resistance", e.Resistance.Value, 1e-6, 1e9, false)
		c.part("exciter.series_r", e.SeriesR.Value, 0, 1e9, true)
	case "current":
		c.within("exciter.full_scale_a", e.FullScaleA, 1e-12, 1e3)
	case "":
		c.fail("exciter.drive", `is missing; give "voltage" or "current"`)
	default:
		c.fail("exciter.drive", `%q is not "voltage" or "current"`, e.Drive)
	}
	c.part("exciter.mutual", e.Mutual.Value, 1e-15, 1e2, false)
	switch r := b.Reference; r.Kind {
	case "", "none":
	case "current":
		c.part("reference.sense_r", r.SenseR.Value, 1e-6, 1e9, false)
		c.within("reference.full_scale_v", r.FullScaleV, 1e-9, 1e6)
	case "loopback":
		if e.Drive == "current" {
			c.fail("reference.kind", `"loopback" wants exciter.drive = "voltage": a current source has no output voltage to send back`)
		}
		c.within("reference.full_scale_v", r.FullScaleV, 1e-9, 1e6)
	default:
		c.fail("reference.kind", `%q is not "none", "current" or "loopback"`, r.Kind)
	}
}

func (b Bench) checkCard(c *checker) {
	highPass := func(key string, corners []float64) {
		if len(corners) > 4 {
			c.fail(key, "%d corners; at most 4 are simulated", len(corners))
		}
		for _, hz := range corners {
			c.within(key, hz, 1e-3, 1e4)
		}
	}
	rollOff := func(key string, r RollOff) {
		c.within(key+".db", r.DB, 0, 60)
		if r.DB > 0 {
			c.within(key+".at_hz", r.AtHz, 10, 1e6)
			c.within(key+".order", float64(r.Order), 1, 4)
		}
	}
	c.within("output.full_scale_v", b.Output.FullScaleV, 1e-9, 1e6)
	c.part("output.resistance", b.Output.Resistance.Value, 0, 1e9, true)
	highPass("output.high_pass_hz", b.Output.HighPassHz)
	rollOff("output.roll_off", b.Output.RollOff)
	c.within("output.second_harmonic_db", b.Output.SecondHarmonicDB, -300, 0)
	c.within("output.third_harmonic_db", b.Output.ThirdHarmonicDB, -300, 0)
	c.within("input.full_scale_v", b.Input.FullScaleV, 1e-9, 1e6)
	highPass("input.high_pass_hz", b.Input.HighPassHz)
	rollOff("input.roll_off", b.Input.RollOff)
	c.within("input.soft_knee", b.Input.SoftKnee, 0, 1)
	c.within("input.clip_at", b.Input.ClipAt, 0, 1)
	if b.Input.Bits != 0 {
		c.within("input.bits", float64(b.Input.Bits), 8, 24)
	}
	c.within("clock.latency_samples", b.Clock.LatencySamples, 0, 1e6)
	c.within("clock.drift_ppm", b.Clock.DriftPPM, -2000, 2000)
}

func (b Bench) checkDisturbances(c *checker) {
	c.within("noise.celsius", b.celsius(), -60, 200)
	c.within("noise.input_v_per_rthz", b.Noise.InputVPerRtHz, 0, 1)
	c.within("noise.reference_v_per_rthz", b.Noise.ReferenceVPerRtHz, 0, 1)
	if h := b.Hum; h != nil {
		c.within("hum.mains_hz", h.MainsHz, 1, 1000)
		if h.StartDeg != nil {
			c.within("hum.start_deg", *h.StartDeg, -360, 360)
		}
		for i, l := range h.Lines {
			key := fmt.Sprintf("hum.line[%d].", i)
			c.within(key+"harmonic", float64(l.Harmonic), 1, 100)
			c.within(key+"emf_rms_v", l.EMFRMSV, 0, 1e3)
			c.within(key+"phase_deg", l.PhaseDeg, -360, 360)
		}
	}
	last := -1.0
	for i, d := range b.Faults.DropOuts {
		key := fmt.Sprintf("faults.dropout[%d].", i)
		c.within(key+"at_s", d.AtS, 0, 1e5)
		c.within(key+"lost", float64(d.Lost), 0, 1e7)
		c.within(key+"inserted", float64(d.Inserted), 0, 1e7)
		if d.AtS <= last {
			c.fail(key+"at_s", "comes before the one above it; list drop-outs in the order of time")
		}
		last = d.AtS
	}
	if s := b.Faults.StallAfterS; s != nil {
		c.within("faults.stall_after_s", *s, 0, 1e5)
	}
}

// finite tells whether x is a number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
