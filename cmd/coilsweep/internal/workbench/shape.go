package workbench

import (
	"context"
	"fmt"
	"math"
	"path/filepath"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/joint"
)

// shape gives a plain stimulus the shape that tells most about the coil's
// resonance, Q and inductance with load, after an earlier take of it, in as the fit wants it.
func shape(ctx context.Context, hears Ears, coil capture.Coil, after capture.Take, in joint.Take,
	plain excite.Stimulus, load capture.Load) (excite.Stimulus, error) {
	if in.Unfit != "" {
		return excite.Stimulus{}, fmt.Errorf("the sweep cannot be shaped after take %s: %s", after.Name, in.Unfit)
	}
	fitted, err := joint.Fit(ctx, coil, []joint.Take{in}, fit.Options{})
	if err != nil {
		return excite.Stimulus{}, err
	}
	e, err := fitted.Excitation(after.Name, after.Stimulus, plain, load)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("the sweep cannot be shaped: %w", err)
	}
	shaped, err := plain.Shaped(e.Shape)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("the sweep cannot be shaped: %w", err)
	}
	hears.warn("the sweep is shaped for a resonance near %.0f Hz, after take %s: noise on the resonance should fall "+
		"to %.0f %% of a plain sweep's, on Q to %.0f %%",
		e.ResonanceHz, after.Name, 100*math.Sqrt(e.ResonanceVariance), 100*math.Sqrt(e.QVariance))
	return shaped, nil
}

// StimulusFile are the options of a stimulus that is written to a file.
type StimulusFile struct {
	Options
	Stimulus Stimulus
	After    string // directory of the take after which the sweep is shaped; empty: none
	Format   string // of the samples: "pcm24" or "float32"
	Force    bool   // replace files
}

// NewStimulusFile has the defaults.
func NewStimulusFile() *StimulusFile {
	s := &StimulusFile{Stimulus: defaultStimulus(), Format: PCM24}
	s.Options = append(s.Stimulus.options(),
		&Option{Name: "after", Group: groupStimulus, Value: Text(&s.After),
			Help: "shape the sweep for the coil as this take shows it: DIR/takes/NAME"},
		&Option{Name: "format", Value: Choice(&s.Format, PCM24, Float32),
			Help: "samples of the WAV file: pcm24 or float32"},
		&Option{Name: "force", Value: Switch(&s.Force), Bare: "true", Help: "replace files that are there already"},
	)
	return s
}

// Design makes the stimulus.
func (s *StimulusFile) Design(ctx context.Context, hears Ears) (excite.Stimulus, error) {
	plain, err := s.Stimulus.design()
	if err != nil || s.After == "" {
		return plain, err
	}
	takes, name := filepath.Split(filepath.Clean(s.After))
	takes = filepath.Clean(takes)
	if filepath.Base(takes) != "takes" {
		return excite.Stimulus{}, WrongValue("after", s.After, "want a take of a coil folder, DIR/takes/NAME")
	}
	folder, err := capture.OpenFolder(filepath.Dir(takes))
	if err != nil {
		return excite.Stimulus{}, err
	}
	after, err := folder.ReadTake(name)
	if err != nil {
		return excite.Stimulus{}, err
	}
	in := evaluation.Estimate(ctx, folder, after)
	if err := ctx.Err(); err != nil {
		return excite.Stimulus{}, err
	}
	return shape(ctx, hears, folder.Coil, after, in, plain, after.Load)
}
