package workbench

import (
	"fmt"

	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
)

const (
	groupGuitar = "The guitar"
	groupSought = "What to find"
)

// Guitar describes a guitar, and the part to find for it.
type Guitar struct {
	Options
	File                      string // of a harness, in place of the parts
	Volume, Tone              *quantity.Resistance
	VolumeTaper, ToneTaper    string
	VolumeAt, ToneAt          float64
	ToneC                     *quantity.Capacitance
	ToneAtOutput, ToneOpen    bool
	BleedC                    *quantity.Capacitance
	BleedParallel, BleedSerie *quantity.Resistance
	Cable, PerMetre           *quantity.Capacitance
	CableM                    float64
	Amplifier                 *quantity.Resistance
	AmplifierC                *quantity.Capacitance
	Wiring, Phase             string
	Coupling                  float64
	TargetHz                  float64 // 0: nothing is looked for
	Solve                     string  // "cable" or "tone-c"

	parts Options // what a harness file replaces
}

// NewGuitar has the defaults. target: a part may be looked for.
func NewGuitar(target bool) *Guitar {
	g := &Guitar{VolumeTaper: "log", ToneTaper: "log", VolumeAt: 10, ToneAt: 10, Solve: "cable"}
	part := func(name, help string, v Value) {
		g.parts = append(g.parts, &Option{Name: name, Group: groupGuitar, Page: true, Value: v, Help: help})
	}
	part("volume", `volume pot, "500k 20%"`, Resistance(&g.Volume))
	part("volume-at", "its knob, 0 to 10", Number(&g.VolumeAt))
	part("volume-taper", "its taper: audio, linear or reverse-log", Text(&g.VolumeTaper))
	part("tone", "tone pot", Resistance(&g.Tone))
	part("tone-at", "its knob, 0 to 10", Number(&g.ToneAt))
	part("tone-taper", "its taper: audio, linear or reverse-log", Text(&g.ToneTaper))
	part("tone-c", "tone capacitor", Capacitance(&g.ToneC))
	part("tone-at-output", "the tone control sits behind the volume pot", Switch(&g.ToneAtOutput))
	part("tone-open", "no-load tone pot: open at 10", Switch(&g.ToneOpen))
	part("bleed-c", "treble bleed: capacitor across the volume pot", Capacitance(&g.BleedC))
	part("bleed-parallel", "resistor beside it", Resistance(&g.BleedParallel))
	part("bleed-series", "resistor in series with it", Resistance(&g.BleedSerie))
	part("cable", "capacitance of the cable", Capacitance(&g.Cable))
	part("cable-length", "its length instead, in m", Metres(&g.CableM))
	part("cable-per-metre", "capacitance of a metre of it", Capacitance(&g.PerMetre))
	part("amp", "resistance of the amplifier's input", Resistance(&g.Amplifier))
	part("amp-c", "capacitance of the amplifier's input", Capacitance(&g.AmplifierC))
	part("phase", "of two coils: in or out", Text(&g.Phase))
	part("coupling", "coupling factor of two coils, -1 to 1", Number(&g.Coupling))
	for _, name := range []string{"volume-taper", "tone-taper"} {
		g.parts.Find(name).Default = "audio"
	}
	for _, name := range []string{"tone-at-output", "tone-open"} {
		g.parts.Find(name).Bare = "true"
	}
	g.Options = append(Options{
		{Name: "harness", Group: groupGuitar, Value: Text(&g.File), Help: "file that describes the guitar, instead of its parts"},
		{Name: "wiring", Group: groupGuitar, Page: true, Value: Text(&g.Wiring), Help: "of two coils: series, parallel or split"},
	}, g.parts...)
	if target {
		g.Options = append(g.Options,
			&Option{Name: "target", Group: groupSought, Page: true, Value: Hertz(&g.TargetHz), Help: "find the part that puts the peak at this frequency"},
			&Option{Name: "solve", Group: groupSought, Page: true, Value: Choice(&g.Solve, "cable", "tone-c"), Help: "the part to find: cable or tone-c"},
		)
	}
	return g
}

// Names are what the options are called.
func (o Options) Names() []string {
	var names []string
	for _, p := range o {
		names = append(names, p.Name)
	}
	return names
}

// Plan is the guitar for so many coils, and the part that is looked for.
func (g *Guitar) Plan(coils int) (h harness.Harness, part string, err error) {
	if h, err = g.harness(); err != nil {
		return h, "", err
	}
	if want, err := h.Check(); err != nil {
		return h, "", &UsageError{err}
	} else if want != coils {
		return h, "", wrong("wiring", "coils given: %d, but the harness is wired for %d: use {wiring} series, parallel or split for two", coils, want)
	}
	part = map[string]string{"cable": harness.CableC, "tone-c": harness.ToneCapacitor}[g.Solve]
	if g.Given("solve") && g.TargetHz == 0 {
		return h, "", wrong("solve", "{solve} needs the wanted peak frequency[[: {target} HZ]]")
	}
	return h, part, nil
}

// harness is the guitar of the file or of the parts.
func (g *Guitar) harness() (harness.Harness, error) {
	if g.File != "" {
		if name := g.firstGiven(g.parts.Names()); name != "" {
			return harness.Harness{}, wrong(name, "{%s} and {harness} contradict each other", name)
		}
		h, err := harness.Load(g.File)
		if g.Given("wiring") {
			h.Wiring = g.Wiring
		}
		return h, err
	}
	for _, need := range []struct{ option, of string }{
		{"volume-at", "volume"}, {"volume-taper", "volume"}, {"bleed-c", "volume"}, {"tone-at-output", "volume"},
		{"tone-at", "tone"}, {"tone-taper", "tone"}, {"tone-c", "tone"}, {"tone", "tone-c"}, {"tone-open", "tone"},
		{"bleed-parallel", "bleed-c"}, {"bleed-series", "bleed-c"},
	} {
		if g.Given(need.option) && !g.Given(need.of) {
			return harness.Harness{}, wrong(need.option, "{%s} needs {%s}", need.option, need.of)
		}
	}
	h := harness.Harness{
		Schema: harness.Schema, Wiring: g.Wiring, Phase: g.Phase, Coupling: g.Coupling,
		Amplifier: harness.Amplifier{Resistance: g.Amplifier, Capacitance: g.AmplifierC},
	}
	if g.Volume != nil {
		h.Volume = &harness.Pot{Resistance: g.Volume, Taper: g.VolumeTaper, Position: &g.VolumeAt}
	}
	if g.Tone != nil {
		h.Tone = &harness.Tone{
			Pot:         harness.Pot{Resistance: g.Tone, Taper: g.ToneTaper, Position: &g.ToneAt},
			Capacitance: g.ToneC, AtOutput: g.ToneAtOutput, OpenAtFull: g.ToneOpen,
		}
	}
	if g.BleedC != nil {
		h.Bleed = &harness.Bleed{Capacitance: g.BleedC, Parallel: g.BleedParallel, Series: g.BleedSerie}
	}
	if g.Cable != nil || g.CableM != 0 || g.PerMetre != nil {
		h.Cable = &harness.Cable{Capacitance: g.Cable, LengthM: g.CableM, PerMetre: g.PerMetre}
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
		return nil, &UsageError{fmt.Errorf("%s: %w", file, err)}
	}
	if coils != 1 {
		return nil, &UsageError{fmt.Errorf("%s is wired for %d coils; a report is on one[[: see 'coilsweep predict']]", file, coils)}
	}
	return &h, nil
}
