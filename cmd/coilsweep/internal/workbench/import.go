package workbench

import (
	"context"
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
		{Name: "stimulus", Group: groupTake, Value: Text(&m.StimulusFile), Help: "FILE.toml that 'coilsweep stimulus' wrote"},
		{Name: "recording", Group: groupTake, Value: Text(&m.Recording), Help: "the recording, WAV or FLAC"},
		{Name: "redo", Group: groupTake, Page: true, Value: Switch(&m.Redo), Bare: "true", Help: redoHelp},
	}, m.Bench.options().only("bench-file"))
	return m
}

// Run imports the recording as a take of the coil in dir.
func (m *Import) Run(ctx context.Context, dir string) (*capture.Folder, capture.Take, error) {
	fail := func(err error) (*capture.Folder, capture.Take, error) { return nil, capture.Take{}, err }
	if err := m.Bench.apply(m.Options, dir, true); err != nil {
		return fail(err)
	}
	take, err := m.Take.take(m.Options, m.Program)
	if err != nil {
		return fail(err)
	}
	if m.StimulusFile == "" && m.Stimulus == nil {
		return fail(wrong("stimulus", "the stimulus that was played is missing[[: {stimulus} FILE.toml]]"))
	}
	if m.Recording == "" {
		return fail(wrong("recording", "the recording is missing[[: {recording} REC.wav]]"))
	}
	folder, err := capture.OpenFolder(dir)
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
	coil, reference := m.Take.channels()
	take, err = record.Import(ctx, folder, take, record.ImportOptions{
		Recording: m.Recording, CoilChannel: coil, ReferenceChannel: reference, Redo: m.Redo,
	})
	return folder, take, err
}
