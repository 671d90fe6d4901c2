package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/data"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
	"coilsweep/report/words"
)

// comparing are the options of 'compare'.
type comparing struct {
	against, sortKey string
	sameBench        bool
}

func (o *comparing) add(f *pflag.FlagSet) {
	f.StringVar(&o.against, "against", "", "the folder of the coil to compare with (default: the first)")
	f.BoolVar(&o.sameBench, "same-bench", false, "the same capacitors, resistors and fixture were used for all coils: their errors cancel")
	f.StringVar(&o.sortKey, "sort", "given", "sort by given, name, or a quantity as --json calls it")
}

// run compares the coils in dirs, whose results come from of. unfit tells of
// takes that were left out.
func (o *comparing) run(ctx context.Context, c *console, dirs []string, curves bool, of resulting) (result *comparison.Comparison, unfit, err error) {
	reference := 0
	if o.against != "" {
		if reference = slices.IndexFunc(dirs, func(dir string) bool { return filepath.Clean(dir) == filepath.Clean(o.against) }); reference < 0 {
			return nil, nil, usagef("--against %s: name one of the folders that are compared", o.against)
		}
	}
	coils, unfit, err := resultsOf(ctx, c, dirs, curves, of)
	if err != nil {
		return nil, nil, err
	}
	var compared []comparison.Coil
	for _, coil := range coils {
		compared = append(compared, coil.Coil)
	}
	if result, err = comparison.Compare(compared, reference, o.sameBench); err != nil {
		return nil, nil, err
	}
	if !slices.Contains(words.ComparisonKeys(result), o.sortKey) {
		return nil, nil, usagef("--sort %s: want one of %s", o.sortKey, strings.Join(words.ComparisonKeys(result), ", "))
	}
	return result, unfit, nil
}

func newCompare(c *console) *cobra.Command {
	var options comparing
	var out string
	var asJSON, asCSV bool
	var decimal decimalFlag
	cmd := &cobra.Command{
		Use:   "compare DIR DIR...",
		Short: "Compare two or more coils: values, differences with U95, what is more than chance",
		Long: `Compare coils with one of them, the first unless --against names another.
A difference is said to be one where it exceeds its U95 (|En| > 1).

Results that are fresh are taken as they are; the others, and all of them for
--out, are worked out from the takes, without changing the coil folders.`,
		Example: `  coilsweep compare neck bridge
  coilsweep compare shop/* --against reference --same-bench --sort inductance_h
  coilsweep compare neck bridge --out comparison.html`,
		Args: someDirs(2),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return usagef("--json and --csv contradict each other")
			}
			if err := decimal.needs(cmd, "csv"); err != nil {
				return err
			}
			if len(args) > 50 && out != "" {
				return usagef("a comparison page is for 2 to 50 coils, not %d; 'coilsweep batch' takes more", len(args))
			}
			result, unfit, err := options.run(cmd.Context(), c, args, out != "", resultOf)
			if err != nil {
				return err
			}
			if out != "" {
				document := page.ComparisonDocument{Comparison: result, SortKey: options.sortKey, Made: time.Now(), Program: programName()}
				if err := writeFile(out, func(w io.Writer) error { return page.Comparison(w, document) }); err != nil {
					return err
				}
				c.warn("wrote %s", out)
			}
			switch {
			case asJSON:
				err = data.ComparisonJSON(c.out, result)
			case asCSV:
				err = data.ComparisonCSV(c.out, result, options.sortKey, decimal.options())
			default:
				err = terminal.Comparison(c.out, result, options.sortKey, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return unfit
		}),
	}
	f := cmd.Flags()
	options.add(f)
	f.StringVar(&out, "out", "", "write a page with pictures to FILE.html")
	f.BoolVar(&asJSON, "json", false, "print JSON")
	f.BoolVar(&asCSV, "csv", false, "print CSV")
	decimal.add(cmd, "--csv")
	return cmd
}

// someDirs wants at least so many folders, each once.
func someDirs(least int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least {
			return fmt.Errorf("%q needs at least %d coil folders, got %d", cmd.Name(), least, len(args))
		}
		seen := map[string]bool{}
		for _, dir := range args {
			if seen[filepath.Clean(dir)] {
				return fmt.Errorf("%s is named twice", dir)
			}
			seen[filepath.Clean(dir)] = true
		}
		return nil
	}
}

// measuredCoil is a coil with its result and when it was measured.
type measuredCoil struct {
	comparison.Coil
	Measured time.Time // of the latest take
}

// resultsOf are the results of coil folders: as they stand in result.json
// where that is fresh, else worked out anew, with the options of the last fit.
// With curves all are worked out, since result.json has no curves. unfit tells
// of takes that were left out.
func resultsOf(ctx context.Context, c *console, dirs []string, curves bool, of resulting) (coils []measuredCoil, unfit error, err error) {
	bar := newCounter(c.err, "coils", len(dirs))
	defer bar.end()
	var left []string
	for n, dir := range dirs {
		coil, without, err := of(ctx, c, dir, curves)
		if err != nil {
			return nil, nil, err
		}
		if without != "" {
			left = append(left, dir+": "+without)
		}
		coils = append(coils, coil)
		if bar.terminal || len(dirs) > 4 {
			bar.show(n + 1)
		}
	}
	if left != nil {
		unfit = unfitError{fmt.Errorf("left out: %s", strings.Join(left, "; "))}
	}
	return coils, unfit, nil
}

// resulting gives the result of the coil in dir, with curves if they are
// wanted, and names the takes that it was made without.
type resulting func(ctx context.Context, c *console, dir string, curves bool) (coil measuredCoil, without string, err error)

// resultOf is the result of one coil.
func resultOf(ctx context.Context, c *console, dir string, curves bool) (coil measuredCoil, without string, err error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return coil, "", err
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return coil, "", err
	}
	last, _ := loadResult(dir)
	options := lastOptions(dir)
	options.MonteCarlo, options.Advise = 0, false
	if !curves && last != nil && len(last.Stale(held, programName())) == 0 {
		return newMeasuredCoil(folder.Coil.Name, dir, last), leftOut(last), nil
	}
	a, err := analyseFolder(ctx, c, dir, options)
	if err != nil {
		return coil, "", fmt.Errorf("%s: %w", dir, err)
	}
	return newMeasuredCoil(folder.Coil.Name, dir, a.result), strings.Join(a.unfit, "; "), nil
}

func newMeasuredCoil(name, dir string, r *fit.Result) measuredCoil {
	coil := measuredCoil{Coil: comparison.Coil{Name: name, Folder: dir, Result: r}}
	for _, t := range coil.Result.Record.Takes {
		if t.Started != nil && t.Started.After(coil.Measured) {
			coil.Measured = *t.Started
		}
	}
	return coil
}

// writeFile makes a file, whole or not at all.
func writeFile(path string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return err
	}
	return atomicfile.Write(path, b.Bytes())
}
