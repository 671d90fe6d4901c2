package cli

import (
	"context"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
	"coilsweep/report/terminal"
	"coilsweep/report/words"
)

func newList(c *console) *cobra.Command {
	var pick listFilter
	sortKey := "folder"
	var descending bool
	var shown several
	const groupWhich = "Which coils"
	which := workbench.Options{
		text("match", "only coils whose name, folder, serial, lot or customer contains this", &pick.match),
		{Name: "flag", Value: workbench.TextList(&pick.flags),
			Help: "only coils with a take that carries this flag (may be repeated)"},
		{Name: "since", Value: workbench.Day(&pick.since),
			Help: "only coils measured on this day or later, 2026-01-31"},
		{Name: "until", Value: workbench.Day(&pick.until), Help: "only coils measured on this day or earlier"},
		on("stale", "only coils whose result is missing or out of date", &pick.stale),
	}
	for _, o := range which {
		o.Group = groupWhich
	}
	shownOptions := shown.options(c)[2:] // there is no page of a list
	return c.command(&cobra.Command{
		Use:   "list [ROOT]",
		Short: "List the coils below a folder with resonance, L, C, R, Q and flags",
		Long: `List the coils at and below ROOT (default: this folder), each with the date of
its latest take, its resonance, Q, L, C and R, its flags, and whether its
result is up to date. A result is out of date where coil.toml or a take was added,
removed or changed since, or where another version of the program made it;
'coilsweep fit --all' makes it again. Later states of a coil (measure --state) are listed
each by itself.`,
		Example: `  coilsweep list bench
  coilsweep list bench --sort resonance --match bridge
  coilsweep list bench --flag hum --since 2026-01-01
  coilsweep list bench --csv > coils.csv`,
		Args: atMostOneArg("the folder ROOT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := shown.check(cmd); err != nil {
				return err
			}
			root := append(args, ".")[0]
			list, err := c.list(cmd.Context(), root)
			if err != nil {
				return err
			}
			list = slices.DeleteFunc(list, func(l words.Listed) bool { return !pick.wants(l) })
			words.SortList(list, sortKey, descending)
			if len(list) == 0 && !c.asJSON && !shown.csv {
				c.warn("no coil to list below %s", root)
				return nil
			}
			return shown.print(c, printed{
				json:  func(w io.Writer) error { return data.ListJSON(w, list) },
				csv:   func(w io.Writer) error { return data.ListCSV(w, list, shown.sign.csv()) },
				table: func(w io.Writer) error { return terminal.List(w, list, screen.TableOptions(w)) },
			}, nil)
		},
	}, which, output(
		&workbench.Option{Name: "sort", Value: workbench.Choice(&sortKey, words.ListKeys()...),
			Help: "sort by " + strings.Join(words.ListKeys(), ", ")},
		on("descending", "largest or latest first", &descending)), shownOptions)
}

// listFilter says which coils are listed.
type listFilter struct {
	match        string
	flags        []string
	since, until time.Time // days; zero: no bound
	stale        bool
}

func (f *listFilter) wants(l words.Listed) bool {
	if !l.Matches(f.match) {
		return false
	}
	for _, flag := range f.flags {
		if !slices.Contains(l.Flags, flag) {
			return false
		}
	}
	if !f.since.IsZero() && l.Measured.Before(f.since) ||
		!f.until.IsZero() && !l.Measured.Before(f.until.AddDate(0, 0, 1)) {
		return false
	}
	return !f.stale || l.Takes > 0 && (l.Result == nil || len(l.Stale) > 0)
}

// list reads what is known of every coil below root. Coils that cannot be read
// are warned of and left out.
func (c *console) list(ctx context.Context, root string) ([]words.Listed, error) {
	dirs, unreadable, err := capture.FindFolders(ctx, root)
	if err != nil {
		return nil, err
	}
	c.mend(dirs)
	known, broken, err := evaluation.GlanceAll(ctx, dirs)
	if err != nil {
		return nil, err
	}
	for _, err := range append(unreadable, broken...) {
		c.warn("%s", complaint(err))
	}
	return words.ListOf(root, known), nil
}
