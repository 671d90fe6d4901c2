package workbench

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// Ears hear how a job goes on. Each may be nil.
type Ears struct {
	Warn     func(text string) // what is worth saying
	Remark   func(text string) // what a page shows anyway
	Progress func(record.Progress)
	Meters   func([]record.Meter)
	Ended    func() // the recording has ended; what follows is worked out from it
}

func (e Ears) warn(format string, args ...any)   { say(e.Warn, format, args...) }
func (e Ears) remark(format string, args ...any) { say(e.Remark, format, args...) }

func say(to func(string), format string, args ...any) {
	if to != nil {
		to(fmt.Sprintf(format, args...))
	}
}

func (e Ears) ended() {
	if e.Ended != nil {
		e.Ended()
	}
}

// Measurement are the options of a take that is to be made.
type Measurement struct {
	job
	Stimulus Stimulus
	// StimulusFile is the description of a stimulus, in place of its options.
	StimulusFile string
	After        string  // the take after which the sweep is shaped; empty: none
	Until        float64 // percent of U95 of the resonance; 0: all sweeps
	Levels       string
	Redo         bool
}

// NewMeasurement has the defaults.
func NewMeasurement(program string) *Measurement {
	m := &Measurement{job: newJob(program), Stimulus: defaultStimulus()}
	m.Options = slices.Concat(m.Take.options(anyReference...), Options{
		{Name: "stimulus", Group: groupStimulus, Value: Text(&m.StimulusFile),
			Help: "FILE.toml of a stimulus, in place of its options"},
	}, m.Stimulus.options(), Options{
		{Name: "after", Group: groupStimulus, Page: true, Value: Text(&m.After),
			Help: "shape the sweep for the coil as this take of the folder shows it"},
		{Name: "until", Group: groupStimulus, Page: true, Value: Percent(&m.Until),
			Help: `sweep until U95 of the resonance is that small, "0.05%"`},
		{Name: "levels", Group: groupStimulus, Page: true, Value: Text(&m.Levels), Bare: "lower",
			Help: fmt.Sprintf("compare with a second, lower level, in dBFS (without a value: %d dB lower)", lowerDB)},
	}, m.Take.kept(&m.Redo), m.Bench.options(), Options{
		{Name: "uncalibrated", Group: groupBench, Page: true, Value: Switch(&m.Bench.Uncalibrated), Bare: "true",
			Help: "do not correct for the sound card's response"},
	})
	return m
}

// boundRepeats is how many sweeps Until plays at most, unless the repeats are
// given.
const boundRepeats = 32

// TakePlan is a take that is about to be made.
type TakePlan struct {
	Folder *capture.Folder
	Take   capture.Take
	Redo   bool
	After  string  // the take after which the sweep is shaped; empty: none
	Until  float64 // percent; 0: all sweeps
	Source device.Source

	lowDBFS       *float64 // a second level; nil: none
	outputChannel int
	responses     map[string]*response.Response // by take, as far as they were estimated
}

// Seen knows the responses that the plan has estimated, for what is said of the take
// beside the others.
func (p *TakePlan) Seen() *evaluation.Evaluation { return evaluation.Seen(p.Folder, p.responses) }

// estimate is a take of the folder with its response.
func (p *TakePlan) estimate(ctx context.Context, t capture.Take) joint.Take {
	in := evaluation.InputOf(t)
	if in.Response = p.responses[t.Name]; in.Response == nil {
		if in = evaluation.Estimate(ctx, p.Folder, t); in.Response != nil {
			p.responses[t.Name] = in.Response
		}
	}
	return in
}

// Plan makes a plan of the options and of the bench of the coil folder dir.
// Nothing is opened yet.
func (m *Measurement) Plan(dir string) (*TakePlan, error) {
	p, err := m.PlanAnywhere(dir)
	if err == nil {
		p.Folder, err = m.Take.Folder(dir)
	}
	return p, err
}

// PlanAnywhere is Plan for a folder that need not be a coil's.
func (m *Measurement) PlanAnywhere(dir string) (*TakePlan, error) {
	if err := m.begin(dir); err != nil {
		return nil, err
	}
	p := &TakePlan{Redo: m.Redo, After: m.After, Until: m.Until, outputChannel: m.Bench.OutputChannel,
		responses: map[string]*response.Response{}}
	var err error
	if p.Take, err = m.Take.take(m.Options, m.Program); err != nil {
		return nil, err
	}
	if m.Until > 0 && !m.Given("repeats") {
		m.Stimulus.Repeats = boundRepeats
	}
	if p.Take.Stimulus, err = m.Stimulus.choose(m.Options, m.StimulusFile); err != nil {
		return nil, err
	}
	if m.Levels != "" {
		low, err := lowerLevel(m.Levels, p.Take.Stimulus.LevelDBFS)
		if err != nil {
			return nil, err
		}
		p.lowDBFS = &low
	}
	if p.Take, err = m.Bench.complete(p.Take); err != nil {
		return nil, err
	}
	p.Source = m.Bench.source(p.Take, &m.Take, wiring{})
	return p, nil
}

// Calibration is the calibration of the sound card that the bench of dir names,
// with the name of its file; nil where it names none.
func (m *Measurement) Calibration(dir string) (c *capture.Calibration, file string, err error) {
	if err := m.Bench.find(dir); err != nil || m.Bench.found == nil {
		return nil, "", err
	}
	c, err = m.Bench.calibration()
	return c, m.Bench.found.Calibration.File, err
}

// Shape gives the sweep its shape after an earlier take, if there is one.
func (p *TakePlan) Shape(ctx context.Context, hears Ears) (err error) {
	if p.After == "" {
		return nil
	}
	before, err := p.Folder.ReadTake(p.After)
	if err != nil {
		return err
	}
	in := p.estimate(ctx, before)
	if err := ctx.Err(); err != nil {
		return err
	}
	p.Take.Stimulus, err = shape(ctx, hears, p.Folder.Coil, before, in, p.Take.Stimulus, p.Take.Load)
	return err
}

// Extras are the results asked for besides a take; nil: not asked for.
type Extras struct {
	Until     *Precision `json:"until,omitempty"`
	Linearity *Linearity `json:"linearity,omitempty"`
}

// Run makes the take and the extras. see, if not nil, is
// shown the recording while it grows. Where the error came after the recording
// the take is returned beside it.
func (p *TakePlan) Run(ctx context.Context, recorder record.Recorder, hears Ears, see Seen) (take capture.Take,
	extras Extras, err error) {
	if c := p.Take.Calibration; c != nil {
		if err := c.Matches(recorder.Describe(), p.outputChannel); err != nil {
			return take, extras, &CalibrationError{err}
		}
	}
	if err := p.Folder.StartState(); err != nil {
		return take, extras, err
	}
	announce(hears, p.Take, recorder.Describe())
	w := &watch{hears: hears, coil: p.Folder.Coil, target: p.Until, see: see}
	delete(p.responses, p.Take.Name) // of a take that this one replaces
	take, err = record.Run(ctx, recorder, p.Folder, p.Take, w.options(hears, p.Redo))
	hears.ended()
	if err == nil && p.Until > 0 {
		extras.Until, err = w.end(ctx, take, p.estimate)
	}
	recorded := take.Audio.File != ""
	if err == nil && p.lowDBFS != nil && take.Unfit() == nil {
		extras.Linearity, err = compareLevels(ctx, recorder, p.Folder, take, p.estimate(ctx, take), *p.lowDBFS, hears)
	}
	if errors.Is(err, context.Canceled) && recorded {
		err = fmt.Errorf("interrupted; take %s was recorded and is kept", take.Name)
	}
	return take, extras, err
}

// announce tells of the take about to be made, and of assumptions.
func announce(hears Ears, take capture.Take, bench capture.Bench) {
	if take.Drive.Assumed && take.Reference.Kind != "current" {
		hears.warn("assumed: the exciter is driven by a current[[; use {drive} voltage if its series resistance is " +
			"low]]")
	}
	for _, note := range bench.Notes {
		hears.remark("%s", note)
	}
	if bench.TwoClocks {
		hears.warn("input and output run on two clocks: the drift between them will be measured")
	}
	playing(hears, take, bench)
}

// playing warns of the sound about to be played.
func playing(hears Ears, take capture.Take, bench capture.Bench) {
	if bench.Source == SoundCard {
		hears.remark("playing on %s at %s dBFS: keep headphones off", bench.OutputDevice,
			Signed(take.Stimulus.LevelDBFS))
	}
}
