package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/published"
	"coilsweep/report/notation"
	"coilsweep/report/schema"
)

func newSchema(c *console) *cobra.Command {
	name := func(f schema.Format) string { return f.Name }
	cmd := c.command(&cobra.Command{
		Use:   "schema [FORMAT]",
		Short: "Print the JSON Schema of what a command prints with --json",
		Long: `Print the JSON Schema (draft 2020-12) of a format, or list the formats. What
--json prints carries the format and its version under "schema", as in
"coilsweep.result/1". Lists cannot: 'coilsweep version --json' names the version
of every format that the program writes. Under the same number keys may be
added; a reader passes over those that it does not know.`,
		Example: "  coilsweep schema\n  coilsweep schema result > result.schema.json",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			formats := published.Formats()
			if len(args) == 0 {
				w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
				for _, f := range formats {
					fmt.Fprintf(w, "%s\t%s\t%s\n", f.Name, f.ID(), f.About)
				}
				return w.Flush()
			}
			at := slices.IndexFunc(formats, func(f schema.Format) bool { return f.Name == args[0] })
			if at < 0 {
				return usagef("there is no format %q: want one of %s", args[0],
					strings.Join(notation.Each(formats, name), ", "))
			}
			return formats[at].Write(c.out)
		},
	})
	cmd.ValidArgsFunction = cobra.FixedCompletions(notation.Each(published.Formats(), name),
		cobra.ShellCompDirectiveNoFileComp)
	return cmd
}

// named is JSON of an object with its format first, unless it names one itself.
func (c *console) named(text []byte) []byte {
	var has struct{ Schema string }
	if !bytes.HasPrefix(text, []byte("{")) || json.Unmarshal(text, &has) == nil && has.Schema != "" {
		return text
	}
	return slices.Concat([]byte(`{"schema":"`+schema.Format{Name: c.format}.ID()+`",`), text[1:])
}
