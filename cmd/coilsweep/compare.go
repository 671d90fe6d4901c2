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

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/fit/comparison"
	"coilsweep/report"
)

func newCompare(c *console) *cobra.Command {
	var against, sortKey, out string
	var sameBench, asJSON, asCSV bool
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
			reference := 0
			if against != "" {
				if reference = slices.IndexFunc(args, func(dir string) bool { return filepath.Clean(dir) == filepath.Clean(against) }); reference < 0 {
					return usagef("--against %s: name one of the folders that are compared", against)
				}
			}
			coils, unfit, err := resultsOf(cmd.Context(), c, args, out != "")
			if err != nil {
				return err
			}
			var compared []comparison.Coil
			for _, coil := range coils {
				compared = append(compared, coil.Coil)
			}
			result, err := comparison.Compare(compared, reference, sameBench)
			if err != nil {
				return err
			}
			if !slices.Contains(report.SortKeys(result), sortKey) {
				return usagef("--sort %s: want one of %s", sortKey, strings.Join(report.SortKeys(result), ", "))
			}
			if out != "" {
				document := report.ComparisonDocument{Comparison: result, SortKey: sortKey, Made: time.Now(), Program: programName()}
				if err := writeFile(out, func(w io.Writer) error { return report.ComparisonPage(w, document) }); err != nil {
					return err
				}
				c.warn("wrote %s", out)
			}
			switch {
			case asJSON:
				err = report.ComparisonJSON(c.out, result)
			case asCSV:
				err = report.ComparisonCSV(c.out, result, sortKey, decimal.options())
			default:
				err = report.ComparisonTable(c.out, result, sortKey, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return unfit
		}),
	}
	f := cmd.Flags()
	f.StringVar(&against, "against", "", "the folder of the coil to compare with (default: the first)")
	f.BoolVar(&sameBench, "same-bench", false, "the same capacitors, resistors and fixture were used for all coils: their errors cancel")
	f.StringVar(&sortKey, "sort", "given", "sort by given, name, or a quantity as --json calls it")
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
func resultsOf(ctx context.Context, c *console, dirs []string, curves bool) (coils []measuredCoil, unfit error, err error) {
	bar := newCounter(c.err, "coils", len(dirs))
	defer bar.end()
	var left []string
	for n, dir := range dirs {
		coil, without, err := resultOf(ctx, c, dir, curves)
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

func resultOf(ctx context.Context, c *console, dir string, curves bool) (coil measuredCoil, without string, err error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return coil, "", err
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return coil, "", err
	}
	coil.Coil = comparison.Coil{Name: folder.Coil.Name, Folder: dir}
	last, _ := loadResult(dir)
	options := lastOptions(dir)
	options.MonteCarlo, options.Advise = 0, false
	if !curves && last != nil && len(last.Stale(held, programName())) == 0 {
		coil.Result = last
		without = leftOut(last)
	} else {
		a, err := analyseFolder(ctx, c, dir, options)
		if err != nil {
			return coil, "", fmt.Errorf("%s: %w", dir, err)
		}
		coil.Result = a.result
		without = strings.Join(a.unfit, "; ")
	}
	for _, t := range coil.Result.Record.Takes {
		if t.Started != nil && t.Started.After(coil.Measured) {
			coil.Measured = *t.Started
		}
	}
	return coil, without, nil
}

// writeFile makes a file, whole or not at all.
func writeFile(path string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return err
	}
	return atomicfile.Write(path, b.Bytes())
}
