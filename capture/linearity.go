package capture

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/tomlkey"
)

// Linearity is how far the response depended on the level, by the stimulus
// played once more at a lower one right after the take.
type Linearity struct {
	LevelsDBFS [2]float64 `toml:"levels_dbfs"` // the take's, and the lower one
	// DeviationDB is the largest deviation of the response at the lower level
	// from the take's, over a third of an octave about AtHz, UDB its standard
	// uncertainty.
	DeviationDB float64 `toml:"deviation_db"`
	UDB         float64 `toml:"u_db"`
	AtHz        float64 `toml:"at_hz"`
	// Linear: the deviation is within its uncertainty or too small to matter.
	Linear bool `toml:"linear"`
}

func (l Linearity) check() error {
	if !(l.LevelsDBFS[1] < l.LevelsDBFS[0] && l.LevelsDBFS[0] <= 0) {
		return fmt.Errorf("linearity: levels are %g and %g dBFS: want the take's, and a lower one", l.LevelsDBFS[0],
			l.LevelsDBFS[1])
	}
	if !(l.UDB >= 0 && l.AtHz > 0) || math.IsInf(l.UDB, 0) || math.IsInf(l.AtHz, 0) || math.IsInf(l.DeviationDB, 0) ||
		math.IsNaN(l.DeviationDB) {
		return fmt.Errorf("linearity: %g ± %g dB at %g Hz cannot be", l.DeviationDB, l.UDB, l.AtHz)
	}
	return nil
}

// AddLinearity adds a test of linearity to the take called name, which has
// none. The rest of its take.toml stays as it is, byte for byte.
func (f *Folder) AddLinearity(name string, l Linearity) error {
	t, err := f.ReadTake(name)
	if err != nil {
		return err
	}
	path := filepath.Join(f.TakeDir(name), TakeFile)
	if t.Linearity != nil {
		return fmt.Errorf("%s has its test of linearity already", path)
	}
	if err := l.check(); err != nil {
		return err
	}
	text, err := atomicfile.Read(path, atomicfile.MaxText)
	if err != nil {
		return fmt.Errorf("cannot read take %q: %w", name, err)
	}
	table, err := tomlkey.Encode(map[string]Linearity{"linearity": l})
	if err != nil {
		return err
	}
	added := tomlkey.Append(text, string(table))
	if got, err := DecodeTake(added); err != nil || got.Linearity == nil || *got.Linearity != l {
		return errors.Join(fmt.Errorf("%s: a test of linearity cannot be added to it", path), err)
	}
	return atomicfile.Write(path, added)
}
