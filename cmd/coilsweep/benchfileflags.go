package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
)

// benchFileFlags choose the bench.toml whose values stand for options that are
// not given.
type benchFileFlags struct {
	path         string
	uncalibrated bool
	found        *benchfile.Found // nil: none
}

const noBenchFile = "none"

func (b *benchFileFlags) add(f *pflag.FlagSet) {
	f.StringVar(&b.path, "bench-file", "", "the bench.toml to use (default: that in DIR or in the folder above; none: none)")
}

// find reads the bench.toml for dir; where there is none and none was asked
// for, found stays nil.
func (b *benchFileFlags) find(dir string) error {
	var found benchfile.Found
	var err error
	switch b.path {
	case noBenchFile:
		return nil
	case "":
		if found, err = benchfile.Find(dir); errors.Is(err, benchfile.ErrNone) {
			return nil
		}
	default:
		found, err = benchfile.Read(b.path)
	}
	if err == nil {
		b.found = &found
	}
	return err
}

// benchSetting is an option that bench.toml can stand for, and where.
type benchSetting struct{ option, table, key string }

var benchSettings = []benchSetting{
	{"drive", "drive", "kind"}, {"exciter-r", "drive", "exciter_r"}, {"exciter-l", "drive", "exciter_l"},
	{"reference", "reference", "kind"}, {"sense-r", "reference", "sense_r"},
	{"fixture-c", "fixture", "capacitance"}, {"fixture-r", "fixture", "resistance"},
	{"rate", "card", "rate_hz"}, {"level", "card", "level_dbfs"},
	{"input", "card", "input"}, {"output", "card", "output"}, {"coil-channel", "card", "coil_channel"},
	{"output-channel", "card", "output_channel"}, {"buffer", "card", "buffer_s"},
	{"reference-channel", "card", "reference_channel"}, // after the reference
}

// settingsOf are the options that a bench stands for, as texts.
func settingsOf(b benchfile.Bench) map[string]string {
	texts := map[string]string{}
	for _, e := range b.Given() {
		for _, s := range benchSettings {
			if s.table == e.Table && s.key == e.Key {
				texts[s.option] = fmt.Sprint(e.Value)
			}
		}
	}
	return texts
}

// benchFor is the bench.toml that is used for dir where none is named.
func benchFor(dir string) string {
	if f, err := benchfile.Find(dir); err == nil {
		return f.Path
	}
	return noBenchFile
}

// apply finds the bench.toml for dir and sets the options of cmd that were not
// given from it, as if they had been. What is said on the command line about
// drive or reference stands for all that the bench says of that.
func (b *benchFileFlags) apply(cmd *cobra.Command, dir string) error {
	if err := b.find(dir); err != nil || b.found == nil {
		return err
	}
	f := cmd.Flags()
	value := func(name string) string {
		if flag := f.Lookup(name); flag != nil {
			return flag.Value.String()
		}
		return ""
	}
	driven, referred := f.Changed("drive"), f.Changed("reference")
	texts := settingsOf(b.found.Bench)
	for _, s := range benchSettings {
		skip := false
		switch s.table {
		case "drive":
			skip = driven
		case "reference":
			skip = referred
		case "card":
			// The card is that of a sound card's takes; what was recorded
			// elsewhere has channels and a rate of its own.
			switch kind := value("bench"); s.option {
			case "rate", "level":
				skip = kind == "" || f.Changed("stimulus")
			case "reference-channel":
				skip = kind != "soundcard" || value("reference") == "none"
			default:
				skip = kind != "soundcard"
			}
		}
		if skip || texts[s.option] == "" || f.Lookup(s.option) == nil || f.Changed(s.option) {
			continue
		}
		if err := f.Set(s.option, texts[s.option]); err != nil {
			return fmt.Errorf("%s: %w", b.found.Path, flagError(cmd, err))
		}
	}
	return nil
}

// complete puts into the take which bench.toml it comes from and, where it has
// no reference of its own, the calibration of the sound card.
func (b *benchFileFlags) complete(take capture.Take) (capture.Take, error) {
	if b.found == nil {
		return take, nil
	}
	take.BenchFile = &capture.BenchFile{Path: filepath.ToSlash(b.found.Path), SHA256: b.found.SHA256}
	if b.uncalibrated || take.Reference.Kind != "none" {
		return take, nil
	}
	calibration, err := b.calibration()
	if err != nil || calibration == nil {
		return take, err
	}
	if err := calibration.Covers(take); err != nil {
		return take, fmt.Errorf("%w, or measure without it: --uncalibrated", err)
	}
	take.Calibration = calibration
	return take, nil
}

// calibration reads the calibration that the bench names; nil where it names
// none.
func (b *benchFileFlags) calibration() (*capture.Calibration, error) {
	if b.found == nil || b.found.Calibration.File == "" {
		return nil, nil
	}
	path := filepath.Join(filepath.Dir(b.found.Path), b.found.Calibration.File)
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the sound card's calibration: %w", err)
	}
	if sum := sha256.Sum256(text); hex.EncodeToString(sum[:]) != b.found.Calibration.SHA256 {
		return nil, fmt.Errorf("%s is not the calibration that %s names: it was changed; calibrate again with 'coilsweep calibrate'", path, b.found.Path)
	}
	c, err := capture.DecodeCalibration(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &c, nil
}

// calibrationMatches refuses a calibration of another bench.
func calibrationMatches(take capture.Take, bench capture.Bench, outputChannel int) error {
	if take.Calibration == nil {
		return nil
	}
	if err := take.Calibration.Matches(bench, outputChannel); err != nil {
		return fmt.Errorf("%w, or measure without it: --uncalibrated", err)
	}
	return nil
}
