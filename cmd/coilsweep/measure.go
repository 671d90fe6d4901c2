package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/soundcard"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
)

func newMeasure(c *console) *cobra.Command {
	var flags takeFlags
	var stimulus stimulusFlags
	var bench benchFlags
	var file benchFileFlags
	var stimulusPath, levels, scout string
	var target percentFlag
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "measure DIR",
		Short: "Play the stimulus, record the coil and keep it as a take",
		Long: `Play the stimulus into the exciter, record what the coil answers and keep it as
a take of the coil folder. Ctrl-C stops; what was recorded until then is kept
apart, as it is when the device fails. What bench.toml says of the bench goes
for all options that are not given; see 'coilsweep bench'.

With --until 0.05% sweeps are played until U95 of the resonance is that small, at
most 32 or --repeats. With --levels the stimulus is played once more, lower, and
the two responses are compared: a coil or a bench that is driven too hard shows.

With --after SCOUT the sweep stays longest where it tells most of the coil that
take SCOUT of the folder has shown: in the same time and at the same peak level
the variance of resonance and Q by noise falls to less than half. Its harmonics
are not measured.

Start at a low level. Never listen to the sweep through headphones. Switch
phantom power off. See that exciter and amplifier stay cool.`,
		Example: `  coilsweep measure bridge --take bare --input "line in" --output "line out"
  coilsweep measure bridge --take C470p --added-c "470p 1%" --reference current --sense-r 10
  coilsweep measure bridge --take fine --until 0.05%
  coilsweep measure bridge --take finer --after bare`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if err := bench.check(cmd); err != nil {
				return err
			}
			if err := file.apply(cmd, args[0]); err != nil {
				return err
			}
			take, err := flags.take(cmd)
			if err != nil {
				return err
			}
			if target > 0 && !cmd.Flags().Changed("repeats") {
				stimulus.repeats = boundRepeats
			}
			if take.Stimulus, err = chooseStimulus(cmd, stimulusPath, &stimulus); err != nil {
				return err
			}
			lowDBFS, err := lowerLevel(levels, take.Stimulus.LevelDBFS)
			if err != nil {
				return err
			}
			folder, err := capture.OpenFolder(args[0])
			if err != nil {
				return err
			}
			if take, err = file.complete(take); err != nil {
				return err
			}
			if scout != "" {
				if take.Stimulus, err = c.shapeAfter(cmd.Context(), folder, scout, take); err != nil {
					return err
				}
			}
			recorder, release, err := bench.open(take, &flags, wiring{})
			if err != nil {
				return err
			}
			if err := calibrationMatches(take, recorder.Describe(), bench.outputChannel); err != nil {
				return errors.Join(err, release())
			}
			announce(c, take, recorder.Describe())
			bar := newProgress(c.err)
			var extras takeExtras
			if target > 0 {
				watch := &precision{c: c, coil: folder.Coil, target: target}
				take, err = capture.RunUntil(cmd.Context(), recorder, folder, take, watch.enough, bar.show)
				bar.end()
				if err == nil {
					extras.Until, err = watch.end(cmd.Context(), folder, take)
				}
			} else {
				take, err = capture.Run(cmd.Context(), recorder, folder, take, bar.show)
				bar.end()
			}
			recorded := take.Audio.File != ""
			if err == nil && levels != "" && take.Unfit() == nil {
				extras.Linearity, err = c.compareLevels(cmd.Context(), recorder, folder, take, lowDBFS)
			}
			if cerr := release(); cerr != nil {
				c.warn("%v", cerr)
			}
			if errors.Is(err, context.Canceled) && recorded {
				return fmt.Errorf("interrupted; take %s was recorded and is kept", take.Name)
			}
			if err != nil {
				return err
			}
			return reportTake(c, folder, take, extras, asJSON)
		}),
	}
	f := cmd.Flags()
	flags.add(f)
	f.StringVar(&stimulusPath, "stimulus", "", "FILE.toml of a stimulus, in place of the options below")
	stimulus.add(f)
	bench.add(f)
	file.add(f)
	f.BoolVar(&file.uncalibrated, "uncalibrated", false, "do not take the sound card's calibration out of the response")
	f.StringVar(&scout, "after", "", "shape the sweep for the coil that this take of the folder has shown")
	f.Var(&target, "until", `sweep until U95 of the resonance is that small, "0.05%"`)
	f.StringVar(&levels, "levels", "", fmt.Sprintf("compare with a second, lower level, in dBFS (without a value: %d dB lower)", lowerDB))
	f.Lookup("levels").NoOptDefVal = "lower"
	f.BoolVar(&asJSON, "json", false, "print the take as JSON")
	return cmd
}

// chooseStimulus reads the stimulus at path, or designs one where there is no
// path.
func chooseStimulus(cmd *cobra.Command, path string, flags *stimulusFlags) (excite.Stimulus, error) {
	if path == "" {
		return flags.design()
	}
	for _, name := range stimulusFlagNames {
		if cmd.Flags().Changed(name) {
			return excite.Stimulus{}, usagef("--%s and --stimulus contradict each other: the file says it all", name)
		}
	}
	return readStimulus(path)
}

// announce says what is about to happen, and what was taken for granted.
func announce(c *console, take capture.Take, bench capture.Bench) {
	if take.Drive.Assumed && take.Reference.Kind != "current" {
		c.warn("the exciter is taken to be driven by a current; say --drive voltage if its series resistance is low")
	}
	if len(bench.Notes) > 0 {
		c.warn("%s", strings.Join(bench.Notes, "; "))
	}
	if bench.TwoClocks {
		c.warn("input and output run on two clocks: the drift between them will be measured")
	}
	if bench.Source == "soundcard" {
		c.warn("playing on %s at %g dBFS: keep headphones off", bench.OutputDevice, take.Stimulus.LevelDBFS)
	}
}

// benchFlags choose what plays and records.
type benchFlags struct {
	kind          string
	input, output string
	outputChannel int
	buffer        secondsFlag
	verbose       bool
	file          string
	seed          uint64
}

var (
	soundcardFlagNames = []string{"input", "output", "output-channel", "buffer", "verbose"}
	virtualFlagNames   = []string{"virtual-file", "seed"}
)

func (b *benchFlags) add(f *pflag.FlagSet) {
	f.StringVar(&b.kind, "bench", "soundcard", "what plays and records: soundcard, or virtual for the simulated bench")
	f.StringVar(&b.input, "input", "", "input device: number or part of the name (default: the system's)")
	f.StringVar(&b.output, "output", "", "output device: number or part of the name (default: the system's)")
	f.IntVar(&b.outputChannel, "output-channel", 1, "output channel with the exciter, from 1")
	f.Var(&b.buffer, "buffer", "latency to ask the sound card for (0 s: a robust one)")
	f.BoolVarP(&b.verbose, "verbose", "v", false, "show what the sound system has to say")
	f.StringVar(&b.file, "virtual-file", "", "description of a simulated bench (default: an invented one)")
	f.Uint64Var(&b.seed, "seed", 1, "seed of the simulated noise")
}

// check refuses options that do not go with the kind of bench.
func (b *benchFlags) check(cmd *cobra.Command) error {
	alien := map[string][]string{"soundcard": virtualFlagNames, "virtual": soundcardFlagNames}
	if _, ok := alien[b.kind]; !ok {
		return usagef("--bench %s: want soundcard or virtual", b.kind)
	}
	if i := slices.IndexFunc(alien[b.kind], cmd.Flags().Changed); i >= 0 {
		return usagef("--%s does not go with --bench %s", alien[b.kind][i], b.kind)
	}
	return nil
}

// wiring is what is between output and input in place of exciter and coil.
type wiring struct {
	cable  bool
	series *quantity.Resistance
}

// open makes the recorder ready; release gives its devices back. A real bench
// is wired by its owner, a simulated one as wired says.
func (b *benchFlags) open(take capture.Take, flags *takeFlags, wired wiring) (r capture.Recorder, release func() error, err error) {
	coil, reference := flags.channels()
	if b.kind == "soundcard" {
		card, err := soundcard.Open(soundcard.Options{
			Input: b.input, Output: b.output, OutputChannel: b.outputChannel,
			CoilChannel: coil, ReferenceChannel: reference,
			RateHz: take.Stimulus.RateHz, BufferS: float64(b.buffer), Verbose: b.verbose,
		})
		if err != nil {
			return nil, nil, err
		}
		return card, card.Close, nil
	}
	bench := virtual.Default()
	if b.file != "" {
		if bench, err = virtual.Load(b.file); err != nil {
			return nil, nil, err
		}
	}
	if kind := bench.Reference.Kind; take.Reference.Kind != "none" && take.Reference.Kind != kind {
		return nil, nil, fmt.Errorf("the simulated bench %q has reference %q, not %q", bench.Name, kind, take.Reference.Kind)
	}
	if coil != 1 || reference > 2 {
		return nil, nil, errors.New("the simulated bench has the coil on channel 1 and the reference on channel 2")
	}
	rate := take.Stimulus.RateHz
	var recorder *virtual.Recorder
	switch {
	case wired.cable:
		recorder, err = bench.CableRecorder(rate, b.seed)
	case wired.series != nil:
		recorder, err = bench.SeriesRecorder(*wired.series, rate, b.seed)
	default:
		recorder, err = bench.Recorder(take.Load, rate, b.seed)
	}
	if err != nil {
		return nil, nil, err
	}
	return recorder, func() error { return nil }, nil
}

// flagAdvice says what a flag means and what to do.
var flagAdvice = map[capture.Flag]string{
	capture.Clipped:       "the input was overdriven: lower its gain or the level and record again",
	capture.ClippedRepeat: "some sweeps overdrove the input and are left out: something knocked or switched, or the level is at its limit",
	capture.NoStimulus:    "the stimulus is not in the recording: check cables, devices and channels",
	capture.TooShort:      "no whole sweep was recorded: record longer",
	capture.Dropout:       "samples were lost: the damaged sweeps are left out; a longer --buffer helps",
	capture.Drift:         "playback and recording ran at different speeds: this was corrected",
	capture.Hum:           "strong hum: turn the coil, or take it away from transformers",
	capture.LowSNR:        "little signal over the noise: raise the level or bring the exciter closer",
	capture.Distorted:     "strong distortion: lower the level",
}

// adviceOn is flagAdvice for a take of quality q; empty: there is none.
func adviceOn(flag capture.Flag, q capture.Quality) string {
	if flag == capture.Dropout && len(q.LostRepeats()) == 0 {
		return fmt.Sprintf("the device reports losing samples (%d times), but no sweep misses any, and none is left out for that; a longer --buffer helps", len(q.Xruns))
	}
	return flagAdvice[flag]
}

// reportTake prints a finished take. An unfit one is an unfitError.
func reportTake(c *console, folder *capture.Folder, take capture.Take, extras takeExtras, asJSON bool) error {
	for _, note := range take.Bench.Notes {
		if take.Bench.Source == "import" {
			c.warn("%s: %s", take.Bench.File, note)
		}
	}
	for _, flag := range take.Quality.Flags {
		if advice := adviceOn(flag, take.Quality); advice != "" {
			c.warn("%s: %s", flag, advice)
		} else {
			c.warn("%s", flag)
		}
	}
	fall := take.Drive.Fall
	if fall.Matters() {
		c.warn("the drive is no current source, and nothing takes that out: say --drive voltage with the same values, record the current (--reference current), or use a larger series resistor")
	}
	q := take.Quality
	var err error
	if asJSON {
		record := newTakeRecord(folder, take)
		record.takeExtras = extras
		err = c.json(record)
	} else {
		noise := "not known"
		if q.NoiseDBFS != 0 {
			noise = fmt.Sprintf("%s, %.0f dB under the signal", level(q.NoiseDBFS), q.SNRDB)
		}
		_, err = fmt.Fprintf(c.out, "take %s: peak %s; noise %s; flags: %s\n", take.Name, level(q.PeakDBFS), noise, flagList(q.Flags))
		if words := driveWords(fall); err == nil && words != "" {
			_, err = fmt.Fprintf(c.out, "take %s: %s\n", take.Name, words)
		}
		if err == nil {
			err = extras.print(c, take.Name)
		}
	}
	if err != nil {
		return err
	}
	if unfit := take.Unfit(); unfit != nil {
		return unfitError{fmt.Errorf("take %s is kept but not fit for use: %s", take.Name, flagList(unfit))}
	}
	return nil
}

func flagList(flags []capture.Flag) string {
	if len(flags) == 0 {
		return "none"
	}
	var s []string
	for _, f := range flags {
		s = append(s, string(f))
	}
	return strings.Join(s, ", ")
}
