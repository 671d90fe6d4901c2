package cli

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/fault"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/desk"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/pair"
)

// complaint is an error as its reader is told of it, with what to do. Commands
// write their files at the end, so an interrupted one has written nothing; a
// recording has its own message.
func complaint(err error) string {
	if _, partial := errors.AsType[*record.PartialError](err); errors.Is(err, context.Canceled) && !partial {
		return "interrupted; nothing was written"
	}
	if option, ok := errors.AsType[*workbench.OptionError](err); ok {
		return option.Say(flagName)
	}
	// What a library has to say beside its sentence follows on lines of its own.
	text, details, more := strings.Cut(forCommands(err.Error()), "\n")
	text += adviceFor(err)
	if more {
		text += "\n" + details
	}
	return text
}

// adviceFor is the advice on an error of a library, as the end of its sentence;
// empty: the error says enough.
func adviceFor(err error) string {
	var (
		calibration *workbench.CalibrationError
		noTake      *evaluation.NoTakeError
		broken      *fault.Error
		partial     *record.PartialError
		rate        *record.RateError
		done        *desk.DoneError
	)
	switch {
	case errors.Is(err, capture.ErrTakeExists):
		return ": choose another name, or replace the take with --redo"
	case errors.Is(err, capture.ErrNotFolder) && !strings.Contains(err.Error(), "it is a file"):
		return ": make one with 'coilsweep new'"
	case errors.As(err, &done):
		return ": use --redo to measure it again"
	case errors.Is(err, pair.ErrNotPair):
		return ": start one with 'coilsweep pair DIR --new'"
	case errors.As(err, &calibration):
		return ", or measure without it: --uncalibrated"
	case errors.As(err, &partial) && partial.HasSweep && partial.Dir != "":
		return ": use it with '" + importOf(partial) + "', which takes load, drive and reference from there"
	case errors.As(err, &rate):
		return fmt.Sprintf(", or make a stimulus with 'coilsweep stimulus --rate %d' and play that", rate.RecordedHz)
	case errors.As(err, &noTake):
		return ": record one with 'coilsweep measure' or read one with 'coilsweep import'"
	}
	if errors.As(err, &broken) {
		return " (--verbose shows where)"
	}
	return ""
}

// importOf is the command that makes a take of a recording that ended early.
func importOf(e *record.PartialError) string {
	words := []string{"coilsweep", "import", workbench.ShellWord(e.Folder), "--take", e.Take}
	if e.Redo {
		words = append(words, "--redo")
	}
	return strings.Join(append(words, "--stimulus", workbench.ShellWord(filepath.Join(e.Dir, capture.StimulusFile)),
		"--recording", workbench.ShellWord(filepath.Join(e.Dir, capture.AudioFile))), " ")
}

// inFolder adds what to do where something is missing from the bench of dir.
func inFolder(dir string, err error) error {
	switch {
	case errors.Is(err, workbench.ErrNoBench), errors.Is(err, benchfile.ErrNone):
		return fmt.Errorf("%w: make one with 'coilsweep bench %s --new'", err, workbench.ShellWord(dir))
	case errors.Is(err, workbench.ErrNoCalibration):
		return fmt.Errorf("%w: put a cable from output to input and run 'coilsweep calibrate %s' first, or record "+
			"the output with --reference loopback", err, workbench.ShellWord(dir))
	}
	return err
}

// flagName is what a command line calls an option.
func flagName(option string) string { return "--" + option }

// flagError is the option's own complaint, where a value cannot be read.
func flagError(_ *cobra.Command, err error) error {
	if invalid, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
		if option, ok := errors.AsType[*workbench.OptionError](errors.Unwrap(invalid)); ok {
			return option
		}
	}
	return err
}
