package capture

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/tomlkey"
)

// planFile says what a recording is to become, from its first moment on: a take.toml
// without what only the audio tells.
const planFile = "plan.toml"

// KeepPlan puts what a recording in dir is to become beside it, so that it can be made
// a take should it end early.
func KeepPlan(dir string, t Take) error {
	text, err := t.Stimulus.Encode()
	if err == nil {
		err = atomicfile.Write(filepath.Join(dir, StimulusFile), text)
	}
	if err == nil {
		text, err = EncodeTake(t)
	}
	if err == nil {
		err = atomicfile.Write(filepath.Join(dir, planFile), text)
	}
	return err
}

// ReadPlan reads what the recording in dir was to become: load, drive, reference,
// stimulus. It is nil where no plan was kept.
func ReadPlan(dir string) (*Take, error) {
	path := filepath.Join(dir, planFile)
	data, err := atomicfile.Read(path, atomicfile.MaxText)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, fmt.Errorf("cannot read the plan of the recording: %w", err)
	}
	t, err := tomlkey.DecodeChecked(data, func(t Take) error {
		if t.Schema != TakeSchema {
			return fmt.Errorf("schema is %q, this program reads %q", t.Schema, TakeSchema)
		}
		return t.CheckPlan()
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &t, nil
}
