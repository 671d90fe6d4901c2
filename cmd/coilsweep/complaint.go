package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture/record"
)

// plainly is an error as its reader is told of it. Commands write what they
// make at their end, so that one that was interrupted has written nothing; a
// recording speaks for itself.
func plainly(err error) error {
	var partial *record.PartialError
	if errors.Is(err, context.Canceled) && !errors.As(err, &partial) {
		return errors.New("interrupted; nothing was written")
	}
	return err
}

// flagError says what is wrong with an option: its name, what was given, and
// what is wanted, each once.
func flagError(_ *cobra.Command, err error) error {
	var invalid *pflag.InvalidValueError
	if !errors.As(err, &invalid) {
		return err
	}
	flag, value, why := invalid.GetFlag(), invalid.GetValue(), errors.Unwrap(invalid)
	var number *strconv.NumError
	if errors.As(why, &number) {
		return fmt.Errorf("--%s %q: want %s", flag.Name, value, wanted(flag.Value.Type(), errors.Is(number, strconv.ErrRange)))
	}
	// Nor is a long text said again: the reason has its beginning, or needs none.
	if strings.Contains(why.Error(), value) && value != "" || len(value) > 100 {
		return fmt.Errorf("--%s: %w", flag.Name, why)
	}
	return fmt.Errorf("--%s %q: %w", flag.Name, value, why)
}

// wanted is what an option of a plain type takes.
func wanted(kind string, outOfRange bool) string {
	want := map[string]string{
		"int": "a whole number", "uint64": "a whole number, not negative",
		"float64": "a number, such as -12 or 0.5", "bool": "true or false",
	}[kind]
	if want == "" {
		want = "a " + kind
	}
	if outOfRange {
		want += " that is not so large"
	}
	return want
}
