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
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/capture/soundcard"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// measurement are the options of 'measure'.
type measurement struct {
	take         takeFlags
	stimulus     stimulusFlags
	bench        benchFlags
	file         benchFileFlags
	stimulusPath string
	levels       string
	scout        string
	until        percentFlag
	redo         bool
}

func (m *measurement) add(f *pflag.FlagSet) {
	m.take.add(f)
	f.StringVar(&m.stimulusPath, "stimulus", "", "FILE.toml of a stimulus, in place of the options below")
	m.stimulus.add(f)
	m.bench.add(f)
	m.file.add(f)
	f.BoolVar(&m.file.uncalibrated, "uncalibrated", false, "do not take the sound card's calibration out of the response")
	f.StringVar(&m.scout, "after", "", "shape the sweep for the coil that this take of the folder has shown")
	f.Var(&m.until, "until", `sweep until U95 of the resonance is that small, "0.05%"`)
	f.StringVar(&m.levels, "levels", "", fmt.Sprintf("compare with a second, lower level, in dBFS (without a value: %d dB lower)", lowerDB))
	f.Lookup("levels").NoOptDefVal = "lower"
	f.BoolVar(&m.redo, "redo", false, "there may be a take of that name: it is set aside once the new one is complete")
}

func newMeasure(c *console) *cobra.Command {
	var options measurement
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

A take is never overwritten. With --redo one of that name is set aside, as
takes/NAME.aside, once the new one is complete; it is no take any more then.

Start at a low level. Never listen to the sweep through headphones. Switch
phantom power off. See that exciter and amplifier stay cool.`,
		Example: `  coilsweep measure bridge --take bare --input "line in" --output "line out"
  coilsweep measure bridge --take C470p --added-c "470p 1%" --reference current --sense-r 10
  coilsweep measure bridge --take fine --until 0.05%
  coilsweep measure bridge --take finer --after bare`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			plan, err := options.plan(cmd, args[0])
			if err != nil {
				return err
			}
			if err := plan.shape(cmd.Context(), c); err != nil {
				return err
			}
			var take capture.Take
			var extras takeExtras
			err = c.on(plan.source, func(recorder record.Recorder) error {
				bar := newProgress(c.err)
				take, extras, err = plan.run(cmd.Context(), c, recorder, audience{bar.show, bar.end})
				return err
			})
			if err != nil {
				return err
			}
			return reportTake(c, plan.folder, take, extras, asJSON)
		}),
	}
	options.add(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the take as JSON")
	return cmd
}

// takePlan is a take that is about to be made.
type takePlan struct {
	folder        *capture.Folder
	take          capture.Take
	redo          bool
	scout         string      // the take after which the sweep is shaped; empty: none
	until         percentFlag // 0: all sweeps
	lowDBFS       *float64    // a second level; nil: none
	outputChannel int
	source        device.Source
}

// plan makes a plan of the options of cmd and of the bench of dir. Nothing is
// opened yet.
func (m *measurement) plan(cmd *cobra.Command, dir string) (*takePlan, error) {
	p, err := m.planAnywhere(cmd, dir)
	if err == nil {
		p.folder, err = capture.OpenFolder(dir)
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

// planAnywhere is plan for a folder that need not be a coil's.
func (m *measurement) planAnywhere(cmd *cobra.Command, dir string) (*takePlan, error) {
	if err := m.bench.check(cmd); err != nil {
		return nil, err
	}
	if err := m.file.apply(cmd, dir); err != nil {
		return nil, err
	}
	p := &takePlan{redo: m.redo, scout: m.scout, until: m.until, outputChannel: m.bench.outputChannel}
	var err error
	if p.take, err = m.take.take(cmd); err != nil {
		return nil, err
	}
	if m.until > 0 && !cmd.Flags().Changed("repeats") {
		m.stimulus.repeats = boundRepeats
	}
	if p.take.Stimulus, err = chooseStimulus(cmd, m.stimulusPath, &m.stimulus); err != nil {
		return nil, err
	}
	if m.levels != "" {
		low, err := lowerLevel(m.levels, p.take.Stimulus.LevelDBFS)
		if err != nil {
			return nil, err
		}
		p.lowDBFS = &low
	}
	if p.take, err = m.file.complete(p.take); err != nil {
		return nil, err
	}
	p.source = m.bench.source(p.take, &m.take, wiring{})
	return p, nil
}

// shape gives the sweep its shape after the scout, if there is one.
func (p *takePlan) shape(ctx context.Context, c *console) (err error) {
	if p.scout != "" {
		p.take.Stimulus, err = c.shapeAfter(ctx, p.folder, p.scout, p.take)
	}
	return err
}

// run makes the take, with whatever else was asked for.
func (p *takePlan) run(ctx context.Context, c *console, recorder record.Recorder, hears audience) (capture.Take, takeExtras, error) {
	if p.until == 0 {
		return p.record(ctx, c, recorder, hears, nil)
	}
	watch := &precision{c: c, coil: p.folder.Coil, target: p.until}
	return p.record(ctx, c, recorder, hears, &bound{watch, watch.enough})
}

// audience hears how a take goes on, and when its recording has ended.
type audience struct {
	progress func(record.Progress)
	ended    func()
}

// bound is how a take ends before all its sweeps are played.
type bound struct {
	*precision
	enough record.Enough
}

func (p *takePlan) record(ctx context.Context, c *console, recorder record.Recorder, hears audience, until *bound, options ...record.Option) (take capture.Take, extras takeExtras, err error) {
	if err := calibrationMatches(p.take, recorder.Describe(), p.outputChannel); err != nil {
		return take, extras, err
	}
	announce(c, p.take, recorder.Describe())
	if p.redo {
		options = append(options, record.Redo())
	}
	if until != nil {
		take, err = record.RunUntil(ctx, recorder, p.folder, p.take, until.enough, hears.progress, options...)
		hears.ended()
		if err == nil {
			extras.Until, err = until.end(ctx, p.folder, take)
		}
	} else {
		take, err = record.Run(ctx, recorder, p.folder, p.take, hears.progress, options...)
		hears.ended()
	}
	recorded := take.Audio.File != ""
	if err == nil && p.lowDBFS != nil && take.Unfit() == nil {
		extras.Linearity, err = c.compareLevels(ctx, recorder, p.folder, take, *p.lowDBFS)
	}
	if errors.Is(err, context.Canceled) && recorded {
		err = fmt.Errorf("interrupted; take %s was recorded and is kept", take.Name)
	}
	return take, extras, err
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
		c.remark("%s", strings.Join(bench.Notes, "; "))
	}
	if bench.TwoClocks {
		c.warn("input and output run on two clocks: the drift between them will be measured")
	}
	if bench.Source == "soundcard" {
		c.remark("playing on %s at %g dBFS: keep headphones off", bench.OutputDevice, take.Stimulus.LevelDBFS)
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
	// For a program that stays: inTime has a simulated bench take the time
	// that a real one does, keepRunning leaves a sound card running.
	inTime, keepRunning bool
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

func (w wiring) String() string {
	switch {
	case w.cable:
		return "a cable"
	case w.series != nil:
		return w.series.String() + " in series"
	}
	return "a coil"
}

// source is what plays and records. A real bench is wired by its owner, a
// simulated one as wired says.
func (b *benchFlags) source(take capture.Take, flags *takeFlags, wired wiring) device.Source {
	coil, reference := flags.channels()
	rate := take.Stimulus.RateHz
	if b.kind == "soundcard" {
		options := soundcard.Options{
			Input: b.input, Output: b.output, OutputChannel: b.outputChannel,
			CoilChannel: coil, ReferenceChannel: reference,
			RateHz: rate, BufferS: float64(b.buffer), KeepRunning: b.keepRunning, Verbose: b.verbose,
		}
		return device.Source{
			Key: fmt.Sprintf("soundcard %+v", options),
			Open: func() (record.Recorder, func() error, error) {
				card, err := soundcard.Open(options)
				if err != nil {
					return nil, nil, err
				}
				return card, card.Close, nil
			},
		}
	}
	return device.Source{
		Key: fmt.Sprintf("virtual %q seed %d pace %v: channels %d %d, %d Hz, reference %s, %s, %s", b.file, b.seed, b.inTime,
			coil, reference, rate, take.Reference.Kind, loadKey(take.Load), wired),
		Open: func() (record.Recorder, func() error, error) {
			recorder, err := b.simulated(take, coil, reference, wired)
			return recorder, nil, err
		},
	}
}

// loadKey tells loads apart.
func loadKey(l capture.Load) string {
	return fmt.Sprintf("%q", []string{given(l.AddedC), given(l.AddedR), given(l.FixtureC), given(l.FixtureR)})
}

// simulated makes a recorder of the simulated bench.
func (b *benchFlags) simulated(take capture.Take, coil, reference int, wired wiring) (record.Recorder, error) {
	bench := virtual.Default()
	if b.file != "" {
		var err error
		if bench, err = virtual.Load(b.file); err != nil {
			return nil, err
		}
	}
	bench.Pace.RealTime = bench.Pace.RealTime || b.inTime
	if kind := bench.Reference.Kind; take.Reference.Kind != "none" && take.Reference.Kind != kind {
		return nil, fmt.Errorf("the simulated bench %q has reference %q, not %q", bench.Name, kind, take.Reference.Kind)
	}
	if coil != 1 || reference > 2 {
		return nil, errors.New("the simulated bench has the coil on channel 1 and the reference on channel 2")
	}
	rate := take.Stimulus.RateHz
	switch {
	case wired.cable:
		return bench.CableRecorder(rate, b.seed)
	case wired.series != nil:
		return bench.SeriesRecorder(*wired.series, rate, b.seed)
	}
	return bench.Recorder(take.Load, rate, b.seed)
}

// on opens a source for do, and gives its devices back after it.
func (c *console) on(source device.Source, do func(record.Recorder) error) error {
	recorder, release, err := source.Open()
	if err != nil {
		return err
	}
	err = do(recorder)
	if release != nil {
		if cerr := release(); cerr != nil {
			c.warn("%v", cerr)
		}
	}
	return err
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

// takeAdvice says what is wrong with a take, and what to do.
func takeAdvice(take capture.Take) []string {
	var said []string
	for _, flag := range take.Quality.Flags {
		words := string(flag)
		if advice := adviceOn(flag, take.Quality); advice != "" {
			words += ": " + advice
		}
		said = append(said, words)
	}
	if take.Drive.Fall.Matters() {
		said = append(said, "the drive is no current source, and nothing takes that out: say --drive voltage with the same values, record the current (--reference current), or use a larger series resistor")
	}
	return said
}

// reportTake prints a finished take. An unfit one is an unfitError.
func reportTake(c *console, folder *capture.Folder, take capture.Take, extras takeExtras, asJSON bool) error {
	for _, note := range take.Bench.Notes {
		if take.Bench.Source == "import" {
			c.warn("%s: %s", take.Bench.File, note)
		}
	}
	for _, advice := range takeAdvice(take) {
		c.warn("%s", advice)
	}
	var err error
	if asJSON {
		record := newTakeRecord(folder, take)
		record.takeExtras = extras
		err = c.json(record)
	} else {
		_, err = fmt.Fprintf(c.out, "take %s: %s\n", take.Name, takeWords(take))
		if words := driveWords(take.Drive.Fall); err == nil && words != "" {
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

// takeWords is a take in one line.
func takeWords(take capture.Take) string {
	q := take.Quality
	noise := "not known"
	if q.NoiseDBFS != 0 {
		noise = fmt.Sprintf("%s, %.0f dB under the signal", notation.Level(q.NoiseDBFS), q.SNRDB)
	}
	return fmt.Sprintf("peak %s; noise %s; flags: %s", notation.Level(q.PeakDBFS), noise, flagList(q.Flags))
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
