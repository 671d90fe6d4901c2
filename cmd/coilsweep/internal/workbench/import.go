package workbench

import (
	"context"
	"path/filepath"
	"reflect"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/excite"
)

// Import are the options of a take that is made from a recording.
type Import struct {
	job
	StimulusFile string
	// Stimulus, if not nil, stands for StimulusFile.
	Stimulus  *excite.Stimulus
	Recording string
	Redo      bool
}

// NewImport has the defaults.
func NewImport(program string) *Import {
	m := &Import{job: newJob(program)}
	m.Options = slices.Concat(m.Take.options(anyReference...), Options{
		{Name: "stimulus", Group: GroupTake, Value: Text(&m.StimulusFile),
			Help: "FILE.toml that 'coilsweep stimulus' wrote"},
		{Name: "recording", Group: GroupTake, Value: Text(&m.Recording), Help: "the recording, WAV or FLAC"},
	}, m.Take.kept(&m.Redo), m.Bench.options().only("bench-file"))
	return m
}

// adopt takes from the plan of an unfinished recording what was not given: the bench
// has had its say then. A given drive or reference replaces all that the plan says of
// it.
func (m *Import) adopt(plan capture.Take) {
	// The channels of the recording are the usual ones.
	stated := &Take{Name: plan.Name, Operator: plan.Operator, Load: plan.Load, Drive: plan.Drive,
		Reference: plan.Reference, Card: plan.Card}
	given := map[string]bool{"drive": m.Given("drive"), "reference": m.Given("reference")}
	for _, from := range stated.options(anyReference...) {
		to, value := m.Find(from.Name), reflect.ValueOf(from.Value.at()).Elem()
		if to.Given || value.IsZero() || from.Bench != nil && given[from.Bench.Table] {
			continue
		}
		reflect.ValueOf(to.Value.at()).Elem().Set(value)
		to.FromBench = from.Name != "drive" || !plan.Drive.Assumed
	}
	if m.Stimulus == nil && m.StimulusFile == "" {
		m.Stimulus = &plan.Stimulus
	}
}

// Run imports the recording as a take of the coil in dir. What was stated when an
// unfinished recording was begun holds for it.
func (m *Import) Run(ctx context.Context, dir string) (*capture.Folder, capture.Take, error) {
	fail := func(err error) (*capture.Folder, capture.Take, error) { return nil, capture.Take{}, err }
	var plan *capture.Take
	var err error
	if filepath.Base(m.Recording) == capture.AudioFile {
		if plan, err = capture.ReadPlan(filepath.Dir(m.Recording)); err != nil {
			return fail(err)
		}
	}
	if plan != nil {
		m.adopt(*plan)
	}
	if plan == nil || m.Given("bench-file") {
		if err := m.Bench.apply(m.Options, dir, true); err != nil {
			return fail(err)
		}
	}
	take, err := m.Take.take(m.Options, m.Program)
	if err != nil {
		return fail(err)
	}
	if m.StimulusFile == "" && m.Stimulus == nil {
		return fail(Wrong("stimulus", "the stimulus that was played is missing[[: {stimulus} FILE.toml]]"))
	}
	if m.Recording == "" {
		return fail(Wrong("recording", "the recording is missing[[: {recording} REC.wav]]"))
	}
	folder, err := m.Take.Folder(dir)
	if err != nil {
		return fail(err)
	}
	if m.Stimulus != nil {
		take.Stimulus = *m.Stimulus
	} else if take.Stimulus, err = ReadStimulus(m.StimulusFile); err != nil {
		return fail(err)
	}
	m.Bench.Uncalibrated = true // which card recorded is not known
	if take, err = m.Bench.complete(take); err != nil {
		return fail(err)
	}
	if plan != nil {
		take.Started = plan.Started
		if !m.stated("audio") {
			take.Audio.File = plan.Audio.File
		}
		take.Bench.Notes = []string{"unless given now, load, drive and reference are those stated when it was recorded"}
		if !m.Given("bench-file") {
			take.BenchFile, take.Instruments = plan.BenchFile, plan.Instruments
		}
		if take.Reference.Kind == "none" {
			take.Calibration = plan.Calibration
		}
	}
	if err := folder.StartState(); err != nil {
		return fail(err)
	}
	coil, reference := m.Take.channels()
	take, err = record.Import(ctx, folder, take, record.ImportOptions{
		Recording: m.Recording, CoilChannel: coil, ReferenceChannel: reference, Redo: m.Redo,
	})
	return folder, take, err
}
