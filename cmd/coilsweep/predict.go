package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/excite/quantity"
	"coilsweep/fit/comparison"
	"coilsweep/fit/harness"
	"coilsweep/report/data"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
)

func newPredict(c *console) *cobra.Command {
	var flags fitFlags
	var guitar guitarFlags
	var netlist, csv, pageFile string
	var decimal decimalFlag
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "predict DIR [DIR2]",
		Short: "Predict the measured coil in a guitar: loaded peak, Q, knobs, cable",
		Long: `Predict what one or two measured coils do in a guitar: volume and tone pots,
cable and amplifier. U95 holds what is known of the coils and the tolerances of
the parts. The parts are given as flags or in a file:

  schema = "coilsweep.harness/1"
  wiring = "series"                 # of two coils: series, parallel or split
  [volume]
  resistance = "500k 20%"
  taper = "log"                     # linear, log, reverse-log
  position = 10                     # 0 to 10
  [tone]
  resistance = "500k"
  capacitance = "22n 10%"
  [cable]
  length_m = 5
  per_metre = "100p 10%"
  [amplifier]
  resistance = "1M"

--target finds the cable, or with --solve tone-c the tone capacitor, that puts
the peak at a frequency.`,
		Example: `  coilsweep predict bridge --volume 500k --tone 500k --tone-c 22n --cable 470p
  coilsweep predict bridge neck --wiring parallel --harness guitar.toml --target 3.2k
  coilsweep predict bridge --harness guitar.toml --out prediction.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return fmt.Errorf("one coil folder or two are wanted, not %d", len(args))
			}
			return nil
		},
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			options, err := flags.options()
			if err != nil {
				return err
			}
			h, part, err := guitar.plan(cmd, len(args))
			if err != nil {
				return err
			}
			if err := decimal.needs(cmd, "csv"); err != nil {
				return err
			}
			var coils []harness.Coil
			var measured []comparison.Coil
			var unfit error
			for _, dir := range args {
				a, err := analyseFolder(cmd.Context(), c, dir, flags.orLast(cmd, c, dir, options))
				if err != nil {
					return err
				}
				coils = append(coils, harness.Coil{Name: a.folder.Coil.Name, Fitted: a.fitted})
				measured = append(measured, comparison.Coil{Name: a.folder.Coil.Name, Folder: dir, Result: a.result})
				if err := a.unfitness(); err != nil && unfit == nil {
					unfit = err
				}
			}
			out := struct {
				*harness.Prediction
				Target *harness.Solution `json:"target,omitempty"`
			}{}
			if out.Prediction, err = h.Predict(coils); err != nil {
				return err
			}
			if guitar.target != 0 {
				if out.Target, err = h.Solve(coils, part, float64(guitar.target)); err != nil {
					return err
				}
			}
			for _, f := range []struct {
				path string
				fill func(io.Writer) error
			}{
				{netlist, func(w io.Writer) error { return h.WriteNetlist(w, coils) }},
				{csv, func(w io.Writer) error { return data.PredictionCSV(w, *out.Prediction, decimal.options()) }},
				{pageFile, func(w io.Writer) error {
					return page.Prediction(w, page.PredictionDocument{
						Prediction: *out.Prediction, Target: out.Target, Harness: h, Coils: measured, Made: time.Now(), Program: programName()})
				}},
			} {
				if f.path == "" {
					continue
				}
				if err := writeFile(f.path, f.fill); err != nil {
					return err
				}
			}
			if pageFile != "" {
				c.warn("wrote %s", pageFile)
			}
			if asJSON {
				err = c.json(out)
			} else {
				err = terminal.Prediction(c.out, *out.Prediction, out.Target, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return unfit
		}),
	}
	flags.add(cmd)
	f := cmd.Flags()
	guitar.add(f)
	f.StringVar(&netlist, "netlist", "", "write the circuit to this file, for ngspice")
	f.StringVar(&csv, "csv", "", "write the response to this file")
	decimal.add(cmd, "--csv")
	f.StringVar(&pageFile, "out", "", "write a page with pictures to FILE.html")
	f.BoolVar(&asJSON, "json", false, "print the prediction as JSON")
	return cmd
}

// guitarFlags describe a guitar, and what is to be found for it.
type guitarFlags struct {
	harnessFlags
	target   hertzFlag
	solveFor string
}

func (g *guitarFlags) add(f *pflag.FlagSet) {
	g.harnessFlags.add(f)
	f.Var(&g.target, "target", "find the part that puts the peak at this frequency")
	f.StringVar(&g.solveFor, "solve", "cable", "which part --target looks for: cable or tone-c")
}

// plan is the guitar for so many coils, and the part that is looked for.
func (g *guitarFlags) plan(cmd *cobra.Command, coils int) (h harness.Harness, part string, err error) {
	if h, err = g.harness(cmd); err != nil {
		return h, "", err
	}
	if want, err := h.Check(); err != nil {
		return h, "", usageError{err}
	} else if want != coils {
		return h, "", usagef("the harness is wired for %d of the coils, and %d are given: --wiring series, parallel or split is for two", want, coils)
	}
	part, ok := map[string]string{"cable": harness.CableC, "tone-c": harness.ToneCapacitor}[g.solveFor]
	if !ok {
		return h, "", usagef("--solve %s: want cable or tone-c", g.solveFor)
	}
	if cmd.Flags().Changed("solve") && g.target == 0 {
		return h, "", usagef("--solve needs the peak that is wanted: --target HZ")
	}
	return h, part, nil
}

// harnessFlags describe a guitar.
type harnessFlags struct {
	file                      string
	volume, tone              resistanceFlag
	volumeTaper, toneTaper    string
	volumeAt, toneAt          float64
	toneC                     capacitanceFlag
	toneAtOutput, toneOpen    bool
	bleedC                    capacitanceFlag
	bleedParallel, bleedSerie resistanceFlag
	cable, perMetre           capacitanceFlag
	cableLength               metresLongFlag
	amplifier                 resistanceFlag
	amplifierC                capacitanceFlag
	wiring, phase             string
	coupling                  float64
}

// partFlags are the flags that a harness file replaces.
var partFlags = []string{"volume", "volume-at", "volume-taper", "tone", "tone-at", "tone-taper", "tone-c", "tone-at-output", "tone-open",
	"bleed-c", "bleed-parallel", "bleed-series", "cable", "cable-length", "cable-per-metre", "amp", "amp-c", "phase", "coupling"}

func (g *harnessFlags) add(f *pflag.FlagSet) {
	f.StringVar(&g.file, "harness", "", "file that describes the guitar, instead of the flags below")
	f.Var(&g.volume, "volume", `volume pot, "500k 20%"`)
	f.Float64Var(&g.volumeAt, "volume-at", 10, "its knob, 0 to 10")
	f.StringVar(&g.volumeTaper, "volume-taper", "log", "its law: linear, log, reverse-log")
	f.Var(&g.tone, "tone", "tone pot")
	f.Float64Var(&g.toneAt, "tone-at", 10, "its knob, 0 to 10")
	f.StringVar(&g.toneTaper, "tone-taper", "log", "its law: linear, log, reverse-log")
	f.Var(&g.toneC, "tone-c", "tone capacitor")
	f.BoolVar(&g.toneAtOutput, "tone-at-output", false, "the tone control sits behind the volume pot")
	f.BoolVar(&g.toneOpen, "tone-open", false, "the tone pot is open at 10")
	f.Var(&g.bleedC, "bleed-c", "capacitor across the volume pot")
	f.Var(&g.bleedParallel, "bleed-parallel", "resistor beside it")
	f.Var(&g.bleedSerie, "bleed-series", "resistor in series with it")
	f.Var(&g.cable, "cable", "capacitance of the cable")
	f.Var(&g.cableLength, "cable-length", "its length instead, in m")
	f.Var(&g.perMetre, "cable-per-metre", "capacitance of a metre of it")
	f.Var(&g.amplifier, "amp", "resistance of the amplifier's input")
	f.Var(&g.amplifierC, "amp-c", "capacitance of the amplifier's input")
	f.StringVar(&g.wiring, "wiring", "", "of two coils: series, parallel or split")
	f.StringVar(&g.phase, "phase", "", "of two coils: in or out")
	f.Float64Var(&g.coupling, "coupling", 0, "coupling factor of two coils, -1 to 1")
}

// harness is the guitar of the file or of the flags.
func (g *harnessFlags) harness(cmd *cobra.Command) (harness.Harness, error) {
	given := cmd.Flags().Changed
	if g.file != "" {
		for _, name := range partFlags {
			if given(name) {
				return harness.Harness{}, usagef("--%s and --harness contradict each other", name)
			}
		}
		h, err := harness.Load(g.file)
		if given("wiring") {
			h.Wiring = g.wiring
		}
		return h, err
	}
	for _, need := range []struct{ flag, of string }{
		{"volume-at", "volume"}, {"volume-taper", "volume"}, {"bleed-c", "volume"}, {"tone-at-output", "volume"},
		{"tone-at", "tone"}, {"tone-taper", "tone"}, {"tone-c", "tone"}, {"tone", "tone-c"}, {"tone-open", "tone"},
		{"bleed-parallel", "bleed-c"}, {"bleed-series", "bleed-c"},
	} {
		if given(need.flag) && !given(need.of) {
			return harness.Harness{}, usagef("--%s needs --%s", need.flag, need.of)
		}
	}
	h := harness.Harness{
		Schema: harness.Schema, Wiring: g.wiring, Phase: g.phase, Coupling: g.coupling,
		Amplifier: harness.Amplifier{Resistance: g.amplifier.value, Capacitance: g.amplifierC.value},
	}
	if g.volume.value != nil {
		h.Volume = &harness.Pot{Resistance: g.volume.value, Taper: g.volumeTaper, Position: &g.volumeAt}
	}
	if g.tone.value != nil {
		h.Tone = &harness.Tone{
			Pot:         harness.Pot{Resistance: g.tone.value, Taper: g.toneTaper, Position: &g.toneAt},
			Capacitance: g.toneC.value, AtOutput: g.toneAtOutput, OpenAtFull: g.toneOpen,
		}
	}
	if g.bleedC.value != nil {
		h.Bleed = &harness.Bleed{Capacitance: g.bleedC.value, Parallel: g.bleedParallel.value, Series: g.bleedSerie.value}
	}
	if g.cable.value != nil || g.cableLength != 0 || g.perMetre.value != nil {
		h.Cable = &harness.Cable{Capacitance: g.cable.value, LengthM: float64(g.cableLength), PerMetre: g.perMetre.value}
	}
	return h, nil
}

// metresLongFlag is a length in m that may be given without its unit.
type metresLongFlag float64

func (f *metresLongFlag) Set(text string) error {
	v, err := quantity.ParseMetres(text)
	*f = metresLongFlag(v)
	return err
}

func (f *metresLongFlag) String() string { return shown(float64(*f), quantity.Metre) }
func (*metresLongFlag) Type() string     { return "m" }
