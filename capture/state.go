package capture

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"coilsweep/capture/rooted"
)

// StatesDir is the folder of a coil that holds its later states: each is a coil folder
// of its own, with takes and results of its own.
const StatesDir = "states"

// checkState returns an error unless name can be the name of a state; empty is the coil
// as it was first measured.
func checkState(name string) error {
	if name == "" {
		return nil
	}
	if CheckTakeName(name) != nil {
		return fmt.Errorf("state %.70q: use letters (a-z), digits, - and _ only, at most %d", name, maxTakeName)
	}
	return nil
}

// Title is the coil's name, with its state where it is not the coil as first measured.
func (c Coil) Title() string {
	if c.State == "" {
		return c.Name
	}
	return c.Name + ", " + c.State
}

// InState is the folder of the coil's state called name. Where there is none yet it is
// as StartState would make it; readings of meters stay with the state in which they
// were taken.
func (f *Folder) InState(name string) (*Folder, error) {
	if err := checkState(name); err != nil {
		return nil, err
	}
	switch {
	case name == f.Coil.State:
		return f, nil
	case f.Coil.State != "":
		return nil, fmt.Errorf("%s is the coil in the state %q: name the folder of the coil itself", f.Dir, f.Coil.State)
	}
	dir := filepath.Join(f.Dir, StatesDir, name)
	there, err := OpenFolder(dir)
	if errors.Is(err, ErrNotFolder) {
		coil := f.Coil
		coil.State, coil.Meter = name, nil
		return &Folder{Dir: dir, Coil: coil}, nil
	}
	if err == nil && there.Coil.State != name {
		return nil, fmt.Errorf("%s is to hold the state %q, and its %s says %q", dir, name, coilFile, there.Coil.State)
	}
	return there, err
}

// States are the folders of the coil's later states, by name.
func (f *Folder) States() ([]string, error) {
	entries, err := rooted.ReadDir(filepath.Join(f.Dir, StatesDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, fmt.Errorf("cannot read the states: %w", err)
	}
	var dirs []string
	for _, e := range entries {
		dir := filepath.Join(f.Dir, StatesDir, e.Name())
		if _, err := rooted.Lstat(filepath.Join(dir, coilFile)); err == nil && e.IsDir() {
			dirs = append(dirs, dir)
		}
	}
	return dirs, nil
}

// StartState makes the folder of a state that has none yet; others it leaves alone.
func (f *Folder) StartState() error {
	if f.Coil.State == "" {
		return nil
	}
	if _, err := rooted.Lstat(filepath.Join(f.Dir, coilFile)); err == nil {
		return nil
	}
	return CreateFolder(f.Dir, f.Coil)
}
