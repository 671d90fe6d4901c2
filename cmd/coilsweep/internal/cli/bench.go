package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coilsweep/capture/benchfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

func newBench(c *console) *cobra.Command {
	options := workbench.NewBenchText()
	var create bool
	return c.command(&cobra.Command{
		Use:   "bench DIR",
		Short: "Show the bench that takes are made on, or start its bench.toml",
		Long: `Show the bench that belongs to a folder: DIR/bench.toml, or else the next
bench.toml in the folders above, where one file serves all coils. 'measure', 'import',
'check', 'calibrate' and 'fixture' take options from it that are not given; every
take keeps the values that it used.

With --new, start DIR/bench.toml. It is yours to edit then.`,
		Example: `  coilsweep bench . --new --input "line in" --output "line out" --reference current --sense-r "10 0.1%"
  coilsweep bench bridge`,
		Args: oneArg("the folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := contradict(cmd, "new", "json"); err != nil {
				return err
			}
			if create {
				return startBench(c, args[0], options)
			}
			if name := options.AnyGiven(); name != "" {
				return usagef("--%s needs --new; edit an existing bench.toml by hand", name)
			}
			found, err := benchfile.Find(args[0])
			if err != nil {
				return inFolder(args[0], err)
			}
			return showBench(c, found)
		},
	}, options.Options, output(
		on("new", "start a bench.toml in DIR", &create), c.jsonOption("the bench")))
}

func startBench(c *console, dir string, options *workbench.BenchText) error {
	if info, err := os.Stat(dir); err != nil {
		return fmt.Errorf("cannot start a bench: %w", err)
	} else if !info.IsDir() {
		return fmt.Errorf("cannot start a bench: %s is a file", dir)
	}
	path, err := options.Create(dir)
	if _, wrong := errors.AsType[*benchfile.KeyError](err); wrong {
		return &workbench.UsageError{Err: err}
	}
	if err != nil {
		return err
	}
	c.warn("made %s: add what you know of the bench to it", path)
	return nil
}

func showBench(c *console, found benchfile.Found) error {
	if c.asJSON {
		shown := map[string]any{"path": filepath.ToSlash(found.Path), "sha256": found.SHA256}
		tables := map[string]map[string]any{"": shown}
		for _, e := range found.Given() {
			if tables[e.Table] == nil {
				tables[e.Table] = map[string]any{}
				shown[e.Table] = tables[e.Table]
			}
			tables[e.Table][e.Key] = e.Value
		}
		return c.json(shown)
	}
	fmt.Fprintln(c.out, found.Path)
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	for _, e := range found.Given() {
		fmt.Fprintf(w, "  %s\t%s\t%v\n", e.Table, e.Key, e.Value)
	}
	return w.Flush()
}
