// Package cli is the command line: one file for each command. Only this package
// knows flags; the work is done in package workbench and in the libraries.
package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/fault"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/comparison"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
)

// The exit statuses.
const (
	exitDone  = 0
	exitFail  = 1
	exitUsage = 2 // wrong use: nothing was done
	exitUnfit = 3 // done, but the data are not usable
)

// usagef is wrong use of the command line.
func usagef(format string, args ...any) error {
	return &workbench.UsageError{Err: fmt.Errorf(format, args...)}
}

// console is where a command prints: results to out, all else to err.
type console struct {
	out, err io.Writer
	started  bool   // a command runs: errors before that are wrong use
	asJSON   bool   // the result is printed for programs
	format   string // of what is printed for programs
	verbose  bool   // faults are told with their trace
}

// warn prints one warning or piece of progress.
func (c *console) warn(format string, args ...any) {
	fmt.Fprintf(c.err, "coilsweep: "+format+"\n", args...)
}

// forCommands is a text of the workbench with options as flags.
func forCommands(text string) string { return workbench.ForCommands(text, flagName) }

// hears prints what a job has to say, and draws its levels.
func (c *console) hears() workbench.Ears {
	say := func(text string) { c.warn("%s", forCommands(text)) }
	p := screen.NewRecording(c.err)
	return workbench.Ears{Warn: say, Remark: say, Progress: p.Progress, Meters: p.Meters, Ended: p.Clear}
}

// json prints a result for programs.
func (c *console) json(v any) error {
	text, err := json.Marshal(v)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := json.Indent(&out, c.named(text), "", "  "); err != nil {
		return err
	}
	out.WriteByte('\n')
	_, err = out.WriteTo(c.out)
	return err
}

// show prints a result as it was asked for. unfit tells of data that were left
// out of it.
func (c *console) show(json, text func(io.Writer) error, unfit error) error {
	if c.asJSON {
		text = json
	}
	if err := text(c.out); err != nil {
		return err
	}
	return unfit
}

// showRecord is show of a record for programs.
func (c *console) showRecord(v any, text func(io.Writer) error, unfit error) error {
	return c.show(func(io.Writer) error { return c.json(v) }, text, unfit)
}

// command is cmd with options as its flags; it notes that it runs, and mends the coil
// folders that it is given. A panic of it is an error.
func (c *console) command(cmd *cobra.Command, options ...workbench.Options) *cobra.Command {
	run := cmd.RunE
	cmd.RunE = func(cmd *cobra.Command, args []string) (err error) {
		c.started, c.format = true, strings.Replace(cmd.Name(), "import", "measure", 1)
		c.verbose = cmd.Flag("verbose").Changed
		defer fault.Catch(&err, "'"+cmd.CommandPath()+"' broke off")
		c.mend(args)
		c.remark(slices.Concat(options...).Unusual(false))
		return run(cmd, args)
	}
	all := slices.Concat(options...)
	bind(cmd, all)
	complete(cmd, all)
	return cmd
}

// mend finishes what a stopped program had begun in coil folders, and says so.
func (c *console) mend(dirs []string) {
	for _, said := range capture.Mend(dirs...) {
		c.warn("%s", said)
	}
}

// mendBelow is mend for the coil folders at and below a folder.
func (c *console) mendBelow(ctx context.Context, root string) {
	if dirs, _, err := capture.FindFolders(ctx, root); err == nil {
		c.mend(dirs)
	}
}

// remark prints remarks of the workbench.
func (c *console) remark(remarks []string) {
	for _, r := range remarks {
		c.warn("%s", forCommands(r))
	}
}

// tellBench says which bench.toml the options come from, and what is unusual there.
func (c *console) tellBench(b *workbench.Bench, o workbench.Options) {
	c.warn("%s", b.Used())
	c.remark(o.Unusual(true))
}

// Run is the whole program: it runs the command in args and returns the exit
// status. ctx ends it early.
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	cobra.MousetrapHelpText = "" // a double click is a use like others
	if len(args) == 0 && screen.ByDoubleClick() {
		return fromDesktop(ctx, stdin, stdout, stderr)
	}
	c := &console{out: stdout, err: stderr}
	return c.run(ctx, newRoot(c), args, stdin, stdout, stderr)
}

func (c *console) run(ctx context.Context, root *cobra.Command, args []string, stdin io.Reader,
	stdout, stderr io.Writer) int {
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitDone
	}
	if errors.Is(err, syscall.EPIPE) {
		return exitFail // nobody reads the result any more
	}
	unfit, isUnfit := errors.AsType[*capture.UnfitError](err)
	if isUnfit {
		for _, f := range unfit.Flags {
			c.warn("%s: %s", f, forCommands(workbench.FlagAdvice(f, capture.Take{Quality: unfit.Quality})))
		}
	}
	fmt.Fprintf(stderr, "coilsweep: %s\n", complaint(err))
	if broken, ok := errors.AsType[*fault.Error](err); ok && c.verbose {
		stderr.Write(broken.Trace)
	}
	switch {
	case !c.started || isUsage(err):
		fmt.Fprintf(stderr, "See '%s --help'.\n", cmd.CommandPath())
		return exitUsage
	case isUnfit:
		return exitUnfit
	}
	return exitFail
}

func isUsage(err error) bool {
	_, usage := errors.AsType[*workbench.UsageError](err)
	_, option := errors.AsType[*workbench.OptionError](err)
	return usage || option
}

func newRoot(c *console) *cobra.Command {
	root := &cobra.Command{
		Use:   "coilsweep",
		Short: "Measure resonance, Q, L, C and R of a pickup coil with a sound card",
		Long: `Coilsweep measures resonance, Q, L, C and R of a pickup coil, with uncertainties,
using a sound card, a small exciter coil and a few known parts.

Values take SI prefixes and marking codes (470p, 4k7, 2n2, 2.4H), a tolerance
after a space ("470p 1%") and, for a DC resistance, a temperature (7.85k@22C).

Exit status: 0 done, 1 it failed, 2 wrong use, 3 done but the data are not
usable.`,
		Version:       versionText(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return errors.New("no command given")
			}
			return noCommand(cmd, args[0])
		},
		RunE: func(*cobra.Command, []string) error { return nil }, // Args lets nothing through
	}
	root.PersistentFlags().Bool("verbose", false, "if the program fails by a fault of its own, show where")
	root.SetVersionTemplate("{{.Version}}\n")
	root.SuggestionsMinimumDistance = 2
	root.SetHelpCommand(newHelp(c))
	root.SetFlagErrorFunc(flagError)
	root.SetUsageTemplate(usageTemplate)
	root.AddCommand(
		newVersion(c), newGuide(c), newDevices(c), newNew(c), newStimulus(c), newMeasure(c), newLot(c), newImport(c),
		newFit(c), newReport(c), newPlot(c), newList(c), newCompare(c), newBatch(c), newLabel(c), newExport(c), newWinding(c),
		newBench(c), newCheck(c), newCalibrate(c), newFixture(c), newServe(c),
		newExciter(c), newCrosscheck(c), newPredict(c), newHear(c), newCapacitance(c), newTurns(c), newPair(c), newMan(c),
		newSchema(c),
	)
	addShells(root)
	return root
}

func newHelp(c *console) *cobra.Command {
	return c.command(&cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Help about a command",
		RunE: func(cmd *cobra.Command, args []string) error {
			about, rest, err := cmd.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return &workbench.UsageError{Err: noCommand(cmd.Root(), args[0])}
			}
			about.InitDefaultHelpFlag()
			return about.Help()
		},
	})
}

// noCommand is the error for a command that does not exist.
func noCommand(root *cobra.Command, name string) error {
	hint := ""
	if near := root.SuggestionsFor(name); len(near) > 0 {
		hint = fmt.Sprintf(" (did you mean %q?)", near[0])
	}
	return fmt.Errorf("there is no command %q%s", name, hint)
}

// noArgs wants no argument.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return fmt.Errorf("%q takes no argument, got %q", cmd.Name(), args[0])
	}
	return nil
}

// oneArg wants exactly one argument, named what in the error.
func oneArg(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) == 0 || strings.TrimSpace(args[0]) == "":
			return fmt.Errorf("%s is missing", what)
		case len(args) > 1:
			return fmt.Errorf("%s is one argument, not %d: %s (put values with spaces in quotes)",
				what, len(args), strings.Join(args, " "))
		}
		return nil
	}
}

// oneOrTwo wants one argument or two, named what in the error.
func oneOrTwo(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) < 1 || len(args) > 2 {
			return fmt.Errorf("want %s, not %d", what, len(args))
		}
		return nil
	}
}

// atMostOneArg wants one argument or none.
func atMostOneArg(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		return oneArg(what)(cmd, args)
	}
}

// evaluate evaluates the coil folder dir and tells the user what matters about it.
func (c *console) evaluate(ctx context.Context, dir string, o evaluation.Options) (*evaluation.Evaluation, error) {
	o.Fit.Program = programName()
	e, err := evaluation.Coil(ctx, dir, o)
	if err != nil {
		return nil, err
	}
	c.tell(e)
	return e, nil
}

// asLastFit evaluates the coil folder dir with the fitted circuit, by the options that are given or
// else by those of its last fit.
func (c *console) asLastFit(ctx context.Context, dir string, options *workbench.Fit) (*evaluation.Evaluation, error) {
	o, err := ofLastFit(options)
	if err != nil {
		return nil, err
	}
	return c.evaluate(ctx, dir, o)
}

// inGuitar are the coils in dirs for a prediction, as measured and as fitted. unfit tells of takes
// that were left out.
func (c *console) inGuitar(ctx context.Context, dirs []string, options *workbench.Fit) (coils []harness.Coil,
	measured []comparison.Coil, unfit, err error) {
	for _, dir := range dirs {
		e, err := c.asLastFit(ctx, dir, options)
		if err != nil {
			return nil, nil, nil, err
		}
		coils = append(coils, harness.Coil{Name: e.Folder.Coil.Name, Fitted: e.Fitted()})
		measured = append(measured, e.Measured().Coil)
		unfit = errors.Join(unfit, e.Unfitness())
	}
	return coils, measured, unfit, nil
}

// tell names the recordings that an evaluation did not use, and the options it took from the last fit.
func (c *console) tell(e *evaluation.Evaluation) {
	c.remark(e.Folder.Coil.Unusual())
	for _, p := range e.Partials {
		c.warn("%s is an unfinished recording and is not used; 'coilsweep import' can read its audio", p)
	}
	if e.AsLast != nil {
		said := notation.Each(workbench.Said(*e.AsLast), forCommands)
		c.warn("%s is analysed with the options of its last fit, %s; fit it again to change them", e.Folder.Dir,
			strings.Join(said, " "))
	}
}
