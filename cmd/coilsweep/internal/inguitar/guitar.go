package inguitar

import (
	"fmt"
	"slices"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/harness"
)

const (
	groupGuitar = "The guitar"
	groupSought = "What to find"
)

// Guitar describes a guitar, and the part to find for it.
type Guitar struct {
	workbench.Options
	File     string // of a harness, in place of the parts
	TargetHz float64
	Solve    string // "cable" or "tone-c", where a target is looked for

	parts  workbench.Options // what a harness file replaces
	h      harness.Harness
	volume harness.Pot // of h, where they are given
	tone   harness.Tone
	bleed  harness.Bleed
	cable  harness.Cable
}

// NewGuitar has the defaults. target: a part may be looked for.
func NewGuitar(target bool) *Guitar {
	pot := func() harness.Pot { return harness.Pot{Taper: "log", Position: new(10.0)} }
	g := &Guitar{Solve: "cable", volume: pot(), tone: harness.Tone{Pot: pot()},
		h: harness.Harness{Schema: harness.Schema}}
	part := func(name, help string, v workbench.Value) {
		g.parts = append(g.parts, &workbench.Option{Name: name, Group: groupGuitar, Page: true, Value: v, Help: help})
	}
	part("volume", `volume pot, "500k 20%"`, workbench.Resistance(&g.volume.Resistance))
	part("volume-at", "its knob, 0 to 10", workbench.Number(g.volume.Position))
	part("volume-taper", "its taper: audio, linear or reverse-log", workbench.Text(&g.volume.Taper))
	part("tone", "tone pot", workbench.Resistance(&g.tone.Resistance))
	part("tone-at", "its knob, 0 to 10", workbench.Number(g.tone.Position))
	part("tone-taper", "its taper: audio, linear or reverse-log", workbench.Text(&g.tone.Taper))
	part("tone-c", "tone capacitor", workbench.Capacitance(&g.tone.Capacitance))
	part("tone-at-output", "the tone control sits behind the volume pot", workbench.Switch(&g.tone.AtOutput))
	part("tone-open", "no-load tone pot: open at 10", workbench.Switch(&g.tone.OpenAtFull))
	part("bleed-c", "treble bleed: capacitor across the volume pot", workbench.Capacitance(&g.bleed.Capacitance))
	part("bleed-parallel", "resistor beside it", workbench.Resistance(&g.bleed.Parallel))
	part("bleed-series", "resistor in series with it", workbench.Resistance(&g.bleed.Series))
	part("cable", "capacitance of the cable", workbench.Capacitance(&g.cable.Capacitance))
	part("cable-length", "its length instead, in m", workbench.Metres(&g.cable.LengthM))
	part("cable-per-metre", "capacitance of a metre of it", workbench.Capacitance(&g.cable.PerMetre))
	part("amp", "resistance of the amplifier's input", workbench.Resistance(&g.h.Amplifier.Resistance))
	part("amp-c", "capacitance of the amplifier's input", workbench.Capacitance(&g.h.Amplifier.Capacitance))
	part("phase", "of two coils: in or out", workbench.Text(&g.h.Phase))
	part("coupling", "coupling factor of two coils, -1 to 1", workbench.Number(&g.h.Coupling))
	for _, name := range []string{"volume-taper", "tone-taper"} {
		g.parts.Find(name).Default = "audio"
	}
	for _, name := range []string{"tone-at-output", "tone-open"} {
		g.parts.Find(name).Bare = "true"
	}
	g.Options = append(workbench.Options{
		{Name: "harness", Group: groupGuitar, Value: workbench.Text(&g.File),
			Help: "file that describes the guitar, instead of its parts"},
		{Name: "wiring", Group: groupGuitar, Page: true, Value: workbench.Text(&g.h.Wiring),
			Help: "of two coils: series, parallel or split"},
	}, g.parts...)
	if target {
		g.Options = append(g.Options,
			&workbench.Option{Name: "target", Group: groupSought, Page: true, Value: workbench.Hertz(&g.TargetHz),
				Help: "find the part that puts the peak at this frequency"},
			&workbench.Option{Name: "solve", Group: groupSought, Page: true,
				Value: workbench.Choice(&g.Solve, "cable", "tone-c"), Help: "the part to find: cable or tone-c"},
		)
	}
	return g
}

// ofOneCoil are the options without those that wire two coils.
func (g *Guitar) ofOneCoil() workbench.Options {
	return slices.DeleteFunc(slices.Clone(g.Options), func(p *workbench.Option) bool {
		return p.Name == "wiring" || p.Name == "phase" || p.Name == "coupling"
	})
}

// Plan is the guitar for so many coils, and the part that is looked for.
func (g *Guitar) Plan(coils int) (h harness.Harness, part string, err error) {
	if h, err = g.harness(); err != nil {
		return h, "", err
	}
	if want, err := h.Check(); err != nil {
		return h, "", &workbench.UsageError{Err: err}
	} else if want != coils {
		return h, "", workbench.Wrong("wiring", "coils given: %d, but the harness is wired for %d: use {wiring} series, "+
			"parallel or split for two", coils, want)
	}
	part = map[string]string{"cable": harness.CableC, "tone-c": harness.ToneCapacitor}[g.Solve]
	if g.Given("solve") && g.TargetHz == 0 {
		return h, "", workbench.Wrong("solve", "{solve} needs the wanted peak frequency[[: {target} HZ]]")
	}
	return h, part, nil
}

// harness is the guitar of the file or of the parts.
func (g *Guitar) harness() (harness.Harness, error) {
	if g.File != "" {
		if name := g.parts.AnyGiven(); name != "" {
			return harness.Harness{}, workbench.Wrong(name, "{%s} and {harness} contradict each other", name)
		}
		h, err := harness.Load(g.File)
		if g.Given("wiring") {
			h.Wiring = g.h.Wiring
		}
		return h, err
	}
	for _, need := range []struct{ option, of string }{
		{"volume-at", "volume"}, {"volume-taper", "volume"}, {"bleed-c", "volume"}, {"tone-at-output", "volume"},
		{"tone-at", "tone"}, {"tone-taper", "tone"}, {"tone-c", "tone"}, {"tone", "tone-c"}, {"tone-open", "tone"},
		{"bleed-parallel", "bleed-c"}, {"bleed-series", "bleed-c"},
	} {
		if g.Given(need.option) && !g.Given(need.of) {
			return harness.Harness{}, workbench.Wrong(need.option, "{%s} needs {%s}", need.option, need.of)
		}
	}
	h := g.h
	if g.volume.Resistance != nil {
		h.Volume = &g.volume
	}
	if g.tone.Resistance != nil {
		h.Tone = &g.tone
	}
	if g.bleed.Capacitance != nil {
		h.Bleed = &g.bleed
	}
	if g.cable != (harness.Cable{}) {
		h.Cable = &g.cable
	}
	return h, nil
}

// OneCoilHarness reads a harness for one coil.
func OneCoilHarness(file string) (*harness.Harness, error) {
	h, err := harness.Load(file)
	if err != nil {
		return nil, err
	}
	coils, err := h.Check()
	if err != nil {
		return nil, &workbench.UsageError{Err: fmt.Errorf("%s: %w", file, err)}
	}
	if coils != 1 {
		return nil, &workbench.UsageError{Err: fmt.Errorf("%s is wired for %d coils; a report is on one[[: "+
			"see 'coilsweep predict']]", file, coils)}
	}
	return &h, nil
}
