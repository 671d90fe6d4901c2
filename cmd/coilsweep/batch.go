package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/report/data"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
)

// batchFlags say how a batch is judged.
type batchFlags struct {
	limits     string
	reference  string
	tolerances []string
	guard      float64
	byFolder   bool
	chart      string
}

func (b *batchFlags) add(f *pflag.FlagSet) {
	f.StringVar(&b.limits, "limits", "", "file with the limits, LIMITS.toml")
	f.StringVar(&b.reference, "reference", "", "folder of a coil about which the limits lie")
	f.StringArrayVar(&b.tolerances, "tolerance", nil, "how far from the reference: 5% for all quantities, bare_q=15% for one (may be repeated)")
	f.Float64Var(&b.guard, "guard", 1, "guard band in units of U95; 0: the limits alone decide")
	f.BoolVar(&b.byFolder, "by-folder", false, "every folder is a coil of its own, whatever its name")
	f.StringVar(&b.chart, "chart", "", "draw the control chart of a quantity, called as in --json")
}

func newBatch(c *console) *cobra.Command {
	var flags batchFlags
	var out string
	var asJSON, asCSV bool
	var decimal decimalFlag
	cmd := &cobra.Command{
		Use:   "batch DIR...",
		Short: "A production run: spread, repeatability, limits, what stands out, drift",
		Long: `The statistics of a production run of coils. A DIR that is no coil folder stands
for all coils below it. Folders whose coil has the same name hold the same coil,
measured again: from them the spread of the measurement is told from that of the
coils (one-way analysis of variance).

Limits come from a file,

  schema = "coilsweep.limits/1"
  [inductance_h]
  nominal = "2.4H 5%"
  [bare_q]
  min = "3"

or lie about a reference coil: --reference DIR --tolerance 5%. A coil passes or
fails where it keeps the guard band from every limit, one U95 unless --guard
says otherwise; between, it is undecided.`,
		Example: `  coilsweep batch shop
  coilsweep batch shop --limits limits.toml --out batch.html
  coilsweep batch shop --reference good --tolerance 5% --tolerance bare_q=15%
  coilsweep batch shop --csv > batch.csv`,
		Args: someDirs(1),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return usagef("--json and --csv contradict each other")
			}
			if err := decimal.needs(cmd, "csv"); err != nil {
				return err
			}
			if err := flags.check(); err != nil {
				return err
			}
			dirs, err := coilDirs(cmd, c, args)
			if err != nil {
				return err
			}
			limits, source, err := flags.read(cmd, c, resultOf)
			if err != nil {
				return err
			}
			specimens, unfit, err := specimensOf(cmd, c, dirs, out != "", resultOf)
			if err != nil {
				return err
			}
			result, err := batch.Analyse(specimens, batch.Options{Limits: limits, Guard: flags.guard, ByFolder: flags.byFolder})
			if err != nil {
				return err
			}
			if err := flags.checkChart(result); err != nil {
				return err
			}
			if out != "" {
				document := page.BatchDocument{Batch: result, Limits: source, Made: time.Now(), Program: programName()}
				if err := writeFile(out, func(w io.Writer) error { return page.Batch(w, document) }); err != nil {
					return err
				}
				c.warn("wrote %s", out)
			}
			switch {
			case asJSON:
				err = data.BatchJSON(c.out, result)
			case asCSV:
				err = data.BatchCSV(c.out, result, decimal.options())
			default:
				err = terminal.Batch(c.out, result, flags.chart, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return unfit
		}),
	}
	f := cmd.Flags()
	flags.add(f)
	f.StringVar(&out, "out", "", "write a page with pictures to FILE.html")
	f.BoolVar(&asJSON, "json", false, "print JSON")
	f.BoolVar(&asCSV, "csv", false, "print CSV, one row a coil")
	decimal.add(cmd, "--csv")
	return cmd
}

func (b *batchFlags) check() error {
	switch {
	case b.limits != "" && b.reference != "":
		return usagef("--limits and --reference contradict each other")
	case b.reference != "" && b.tolerances == nil:
		return usagef("--reference needs a tolerance: --tolerance 5%%")
	case b.reference == "" && b.tolerances != nil:
		return usagef("--tolerance belongs to --reference DIR")
	case !(b.guard >= 0 && b.guard <= 10):
		return usagef("--guard %g: want 0 … 10", b.guard)
	}
	if b.chart != "" && !slices.Contains(comparison.PropertyKeys(), b.chart) {
		return usagef("--chart %s: want one of %s", b.chart, strings.Join(comparison.PropertyKeys(), ", "))
	}
	_, err := b.percent()
	return err
}

// percent are the tolerances by quantity; that for all is under "".
func (b *batchFlags) percent() (map[string]float64, error) {
	out := map[string]float64{}
	for _, text := range b.tolerances {
		key, value, found := strings.Cut(text, "=")
		if !found {
			key, value = "", text
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(value), "%")), 64)
		if err != nil || !strings.HasSuffix(strings.TrimSpace(value), "%") || !(x > 0 && x <= 1000) {
			return nil, usagef("--tolerance %q: want for example 5%% or bare_q=15%%", text)
		}
		if key != "" && !slices.Contains(comparison.PropertyKeys(), key) {
			return nil, usagef("--tolerance %q: there is no quantity %q; want one of %s", text, key, strings.Join(comparison.PropertyKeys(), ", "))
		}
		out[key] = x
	}
	return out, nil
}

// read gives the limits, and where they come from; nil where none were asked
// for.
func (b *batchFlags) read(cmd *cobra.Command, c *console, of resulting) (map[string]batch.Limits, string, error) {
	switch {
	case b.limits != "":
		data, err := os.ReadFile(b.limits)
		if err != nil {
			return nil, "", fmt.Errorf("cannot read the limits: %w", err)
		}
		limits, err := batch.ParseLimits(data)
		if err != nil {
			return nil, "", fmt.Errorf("%s: %w", b.limits, err)
		}
		return limits, b.limits, nil
	case b.reference != "":
		percent, err := b.percent()
		if err != nil {
			return nil, "", err
		}
		coil, _, err := of(cmd.Context(), c, b.reference, false)
		if err != nil {
			return nil, "", err
		}
		limits, err := batch.LimitsAround(coil.Result, comparison.Properties([]comparison.Coil{coil.Coil}), percent)
		if err != nil {
			return nil, "", fmt.Errorf("%s: %w", b.reference, err)
		}
		return limits, "about " + coil.Name + " (" + b.reference + "): " + strings.Join(b.tolerances, ", "), nil
	}
	return nil, "", nil
}

// checkChart refuses a chart that is not there.
func (b *batchFlags) checkChart(result *batch.Batch) error {
	if b.chart == "" {
		return nil
	}
	for _, p := range result.Properties {
		if p.Key == b.chart && p.Chart != nil {
			return nil
		}
	}
	return fmt.Errorf("there is no control chart of %s: it needs at least 5 coils of which it is known", b.chart)
}

// coilDirs are the coil folders that args name: each itself, or all below it.
func coilDirs(cmd *cobra.Command, c *console, args []string) ([]string, error) {
	var dirs []string
	for _, arg := range args {
		if _, err := capture.OpenFolder(arg); !errors.Is(err, capture.ErrNotFolder) {
			dirs = append(dirs, arg) // a broken one is told of later
			continue
		}
		below, unreadable, err := capture.FindFolders(cmd.Context(), arg)
		if err != nil {
			return nil, err
		}
		for _, err := range unreadable {
			c.warn("%v", err)
		}
		if len(below) == 0 {
			return nil, fmt.Errorf("there is no coil at or below %s", arg)
		}
		dirs = append(dirs, below...)
	}
	slices.Sort(dirs)
	return slices.Compact(dirs), nil
}

// specimensOf are the results of the coils. One that has none is warned of and
// left out, and makes the data unfit.
func specimensOf(cmd *cobra.Command, c *console, dirs []string, curves bool, of resulting) (specimens []batch.Specimen, unfit error, err error) {
	bar := newCounter(c.err, "coils", len(dirs))
	defer bar.end()
	var left []string
	for n, dir := range dirs {
		coil, without, err := of(cmd.Context(), c, dir, curves)
		if cmd.Context().Err() != nil {
			return nil, nil, err
		}
		switch {
		case err != nil:
			left = append(left, strings.TrimPrefix(err.Error(), dir+": "))
			c.warn("left out: %v", err)
		case without != "":
			left = append(left, dir+": "+without)
		}
		if err == nil {
			specimens = append(specimens, batch.Specimen{Coil: coil.Coil, Measured: coil.Measured})
		}
		if bar.terminal || curves {
			bar.show(n + 1)
		}
	}
	if left != nil {
		unfit = unfitError{fmt.Errorf("left out of %d coil folders: %s", len(dirs), strings.Join(left, "; "))}
	}
	return specimens, unfit, nil
}
